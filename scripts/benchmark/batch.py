"""Batch against single measurements: throughput for each core, and memory against the number of swings.

Called by scripts/bench, or alone: python3 scripts/benchmark/batch.py [COPIES]. The batch measures
the same clips as the single runs, COPIES times over (rows differ by their swing's name), and both
are run in turn, so that whatever else the machine does meets both. CPU time is what a busy
machine changes least; the ratio of wall times needs an idle one.
"""
import csv
import os
import pathlib
import subprocess
import sys
import tempfile
import time

ROOT = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = ROOT / "target" / "debug" / "hubgauge"
CLIPS = [ROOT / "fixtures" / "clips" / name for name in ("p1_before_faceon.mp4", "p1_before_dtl.mp4")]


def run(*command):
    """-> wall s, CPU s, peak MiB"""
    start = time.perf_counter()
    child = subprocess.Popen([str(part) for part in command], stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        sys.exit(f"{command} failed with {child.returncode}")
    return time.perf_counter() - start, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def batch(folder, copies):
    manifest, out = folder / f"{copies}.csv", folder / f"out{copies}"
    with open(manifest, "w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["swing", "file", "stature"])
        for i in range(copies):
            rows.writerows([f"{clip.stem} {i}", clip, "179cm"] for clip in CLIPS)
    took = run(PROGRAM, "batch", manifest, "--out", out)
    measured = sum(1 for _ in csv.reader(open(out / "swings.csv"))) - 1
    if measured != copies * len(CLIPS):
        sys.exit(f"{measured} of {copies * len(CLIPS)} swings measured")
    return took


def singles():
    each = [run(PROGRAM, "measure", clip, "--stature", "179cm", "--json") for clip in CLIPS]
    return [sum(column) for column in list(zip(*each))[:2]] + [max(memory for *_, memory in each)]


def main():
    copies = int(sys.argv[1]) if len(sys.argv) > 1 else 4
    print(f"load average before: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    print(f"{'':34} {'wall':>9} {'CPU':>9} {'memory':>9}")
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        one, single, many = batch(folder, 1), [], batch(folder, copies)
        single = singles()
        for label, (wall, cpu, memory) in [
            (f"{len(CLIPS)} clips measured one by one", single),
            (f"batch of {len(CLIPS)}", one),
            (f"batch of {copies * len(CLIPS)}", many),
        ]:
            print(f"{label:34} {wall:7.2f} s {cpu:7.2f} s {memory:5.0f} MiB")
        print(f"throughput, batch of {copies * len(CLIPS)} / one by one: "
              f"CPU {copies * single[1] / many[1]:.2f}, wall {copies * single[0] / many[0]:.2f} (at least 0.95)")
        print(f"memory, batch of {copies * len(CLIPS)} / batch of {len(CLIPS)}: {many[2] / one[2]:.2f}")


main()
