"""Wall time, CPU time and peak memory of hubgauge, and of the Python loop it is compared with.

Called by scripts/bench, which makes the environment. Every row is the quickest of RUNS runs:
other programs can only slow a run down.
"""
import json
import os
import pathlib
import subprocess
import sys
import time

ROOT = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = ROOT / "target" / "debug" / "hubgauge"
CLIPS = ROOT / "fixtures" / "clips"
RUNS = int(os.environ.get("RUNS", "3"))


def run(command):
    """-> wall s, CPU s, peak MiB, standard output, standard error"""
    start = time.perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    out, err = child.stdout.read(), child.stderr.read()
    _, status, usage = os.wait4(child.pid, 0)
    wall = time.perf_counter() - start
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        sys.exit(f"{' '.join(map(str, command))}\nfailed with {child.returncode}: {err.strip()}")
    return wall, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024, out, err


def best(command):
    return min((run(command) for _ in range(RUNS)), key=lambda r: r[0])


def measure(*clips):
    return [str(PROGRAM), "measure", *map(str, clips), "--stature", "179cm", "--json", "--timings"]


def row(label, wall, cpu, memory):
    print(f"{label:44} {wall:7.2f} s {cpu:8.2f} s {memory:7.0f} MiB")


def long_clip(folder, clip, times):
    """The swing, then the clip's last still frame for three more lengths of it."""
    out = folder / f"long_{clip.name}"
    pad = f"tpad=stop_mode=clone:stop_duration={(times - 1) * 3}"
    encode = ["-c:v", "libx264", "-preset", "veryfast", "-crf", "20", "-c:a", "copy"]
    subprocess.run(["ffmpeg", "-v", "error", "-y", "-i", str(clip), "-vf", pad, *encode, str(out)], check=True)
    return out


def main():
    face, line = CLIPS / "p1_before_faceon.mp4", CLIPS / "p1_before_dtl.mp4"
    folder = pathlib.Path(sys.argv[1])
    print(f"quickest of {RUNS}, load average before: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    print(f"{'':44} {'wall':>9} {'CPU':>10} {'memory':>11}")
    cases = [
        ("face-on, 3 s 720x1280 60 fps", ["--face-on", face]),
        ("down-the-line, 3 s 30 fps", ["--down-the-line", line]),
        ("both, with result files and stills", ["--face-on", face, "--down-the-line", line, "--out", folder / "out"]),
        ("face-on, heavy network", ["--face-on", face, "--accuracy", "heavy"]),
        ("face-on, clip 4 times as long", ["--face-on", long_clip(folder, face, 4)]),
    ]
    results = {}
    for label, arguments in cases:
        results[label] = best(measure(*arguments))
        row(label, *results[label][:3])
    for label in (cases[0][0], cases[2][0]):
        print(f"\nstages of: {label}\n{results[label][4].rstrip()}")
    print("\nPython loop with the same networks in ONNX Runtime, every frame, landmarks only:")
    loop = best([sys.executable, str(ROOT / "scripts" / "benchmark" / "loop.py"), str(face)])
    row("face-on, 3 s 720x1280 60 fps", *loop[:3])
    print(json.loads(loop[3]))
    print(f"\nhubgauge / Python loop: wall {results[cases[0][0]][0] / loop[0]:.2f}, CPU {results[cases[0][0]][1] / loop[1]:.2f}")


main()
