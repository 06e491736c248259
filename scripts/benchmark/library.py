"""Time and size of the library against the number of swings of one pupil.

Called by scripts/bench, or alone: python3 scripts/benchmark/library.py [N...]. The swings are
invented: one result's shape with values drawn at random, every event and measure known.
"""
import json
import os
import pathlib
import random
import subprocess
import sys
import tempfile
import time
import urllib.request

ROOT = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = ROOT / "target" / "debug" / "hubgauge"
RUNS = int(os.environ.get("RUNS", "5"))
A_DAY = 40

EVENTS = ["address", "takeaway", "arm_level_back", "top", "transition", "impact", "finish"]
LENGTHS = [f"{point}_{axis}" for point in ("lower_hub", "upper_hub", "head") for axis in ("target", "ball", "up")]
ANGLES = ["spine_tilt", "forward_bend", "pelvis_turn", "thorax_turn", "separation", "lead_arm", "shoulder_slope", "hip_slope"]
CAUSES = {"keypoints": 0.6, "timing": 0.1, "scale": 0.1, "tilt": 0.1, "aim": 0.05, "depth": 0.05, "ground": 0.0}


def invented(number, shift):
    draw = random.Random(number)
    units = {**{m: "cm" for m in [*LENGTHS, "hub_offset"]}, **{m: "deg" for m in ANGLES}}
    value = lambda unit: {"value": round(draw.gauss(shift, 1), 3), "sd": 0.8, "unit": unit}
    return {
        "schema": "hubgauge.swing/1", "program": "hubgauge 0.1.0",
        "pupil": {"stature_m": 1.79, "handed": "right"},
        "clips": [{"view": "face-on", "file": f"{number}.mp4", "sha256": f"{number:064x}", "frames": 360,
                   "width": 720, "height": 1280, "first_s": 0.0, "last_s": 2.992, "time_scale": 1.0,
                   "camera_motion": "still"}],
        "scale": {"method": "stature", "relative_sd": 0.03},
        "events": {e: {"time_s": 0.3 * i, "sd_s": 0.01, "frames": {"face-on": 40 * i}} for i, e in enumerate(EVENTS)},
        "measures": {e: {m: value(u) for m, u in units.items()} for e in EVENTS},
        "swing": {"tempo": {"value": 3.1, "sd": 0.1, "unit": "ratio"}},
        "explain": {"sources": {e: {m: CAUSES for m in units} for e in EVENTS}},
        "notes": ["invented"],
    }


def run(library, *arguments):
    subprocess.run([PROGRAM, *map(str, arguments), "--library", library], check=True, stdout=subprocess.DEVNULL)


def best(library, *arguments):
    """-> wall / CPU, ms: a busy machine lengthens the first"""
    wall, cpu = [], []
    for _ in range(RUNS):
        start = time.perf_counter()
        child = subprocess.Popen([PROGRAM, *map(str, arguments), "--library", library], stdout=subprocess.DEVNULL)
        _, status, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        if child.returncode:
            sys.exit(f"{arguments} failed with {child.returncode}")
        wall.append(1000 * (time.perf_counter() - start))
        cpu.append(1000 * (usage.ru_utime + usage.ru_stime))
    return f"{min(wall):.0f} / {min(cpu):.0f} ms"


def opened(library):
    """The page's answers -> wall / the program's CPU, ms: bench, pupil, chart over the weeks"""
    child = subprocess.Popen([PROGRAM, "open", "--no-browser", "--library", library], stdout=subprocess.PIPE, text=True)
    try:
        address = next(line for line in child.stdout if line.startswith("http")).strip()
        time.sleep(5)  # the networks are loaded meanwhile
        used = lambda: 10 * sum(map(int, pathlib.Path(f"/proc/{child.pid}/stat").read_text().rsplit(") ", 1)[1].split()[11:13]))
        times = []
        for path in ("", "pupil/Anna", "api/history.svg?pupil=Anna&key=top.lower_hub_target"):
            wall, cpu = [], []
            for _ in range(RUNS):
                before, start = used(), time.perf_counter()
                urllib.request.urlopen(address + path).read()
                wall.append(1000 * (time.perf_counter() - start))
                cpu.append(used() - before)
            times.append(f"{min(wall):.0f} / {min(cpu)} ms")
        return times
    finally:
        child.terminate()
        child.wait()


def fill(library, folder, first, last):
    """One day of 20 swings before and 20 after at a time -> seconds"""
    took = 0.0
    for day in range(first // A_DAY, last // A_DAY):
        date = time.strftime("%Y-%m-%d", time.gmtime(86400 * (19000 + day)))
        for half, label in enumerate(("before", "after")):
            paths = []
            for i in range(A_DAY // 2):
                number = day * A_DAY + half * A_DAY // 2 + i
                paths.append(folder / f"{i}.json")
                paths[-1].write_text(json.dumps(invented(number, float(half))))
            start = time.perf_counter()
            run(library, "lesson", "add", "Anna", *paths, "--label", label, "--date", date)
            took += time.perf_counter() - start
    return took, date


def main():
    steps = [int(a) for a in sys.argv[1:]] or [200, 2000, 10000]
    with tempfile.TemporaryDirectory() as name:
        folder, library = pathlib.Path(name), pathlib.Path(name) / "library"
        run(library, "pupil", "add", "Anna")
        print("wall / CPU time of the whole command, ms")
        columns = ("lessons", "history", "compare 20 + 20", "1 + 1", "pupils", "page: bench", "page: pupil", "page: chart")
        print(f"{'swings':>7} {'size':>9} {'store one':>10}" + "".join(f"{name:>17}" for name in columns))
        done = 0
        for n in steps:
            took, date = fill(library, folder, done, n)
            size = sum(f.stat().st_size for f in library.rglob("*") if f.is_file()) / 2**20
            day = ["--before-date", date, "--after-date", date]
            for i, label in enumerate(("one", "other")):
                path = folder / "single.json"
                path.write_text(json.dumps(invented(10**6 + 2 * n + i, float(i))))
                run(library, "lesson", "add", "Anna", path, "--label", f"{label} of {n}", "--date", date)
            single = ["--before-label", f"one of {n}", "--after-label", f"other of {n}"]
            times = [
                best(library, "lesson", "list", "Anna"),
                best(library, "lesson", "history", "Anna", "top.lower_hub_target"),
                best(library, "compare", "--pupil", "Anna", *day),
                best(library, "compare", "--pupil", "Anna", *single),
                best(library, "pupil", "list"),
                *opened(library),
            ]
            row = "".join(f"{time:>17}" for time in times)
            print(f"{n:7} {size:5.0f} MiB {1000 * took / (n - done):7.1f} ms{row}", flush=True)
            done = n


main()
