#!/usr/bin/env python3
"""What the report and the store cost beside the reading: eight simulated clips of 6 s, from files to the finished PDF, then
the parts alone. Ratios measured side by side in one run; standard library only.

    bench/bench_report.py [--build build] [--rounds 3] [FOLDER_WITH_EIGHT_CLIPS]

read: everything. again: the same folder, nothing to read any more, so report files alone. keep: what --keep adds. sign: the
report drawn again and signed."""
import argparse
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import time

ZONES = ("R1", "R2", "R3", "R4", "L1", "L2", "L3", "L4")


def run(words):
    began = time.perf_counter()
    child = subprocess.Popen([str(word) for word in words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL)
    out = child.stdout.read().decode()
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        sys.exit(f"{words[:3]} failed: {out} {child.stderr.read().decode()}")
    return time.perf_counter() - began, usage.ru_utime + usage.ru_stime, out


def main():
    root = pathlib.Path(__file__).resolve().parent.parent
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", nargs="?", type=pathlib.Path)
    parser.add_argument("--build", type=pathlib.Path, default=root / "build")
    parser.add_argument("--rounds", type=int, default=3)
    words = parser.parse_args()
    strandline = words.build / "strandline"
    work = pathlib.Path(tempfile.mkdtemp(prefix="bench_report_"))
    clips = words.folder
    if not clips:
        clips = work / "clips"
        clips.mkdir()
        for number, zone in enumerate(ZONES):
            scenario = root / "scenarios" / ("a-lines.json" if number % 2 else "b-three.json")
            run([strandline, "simulate", scenario, "--out", clips / f"{zone}.mp4", "--set", "controls.duration_s=6", "--set", f"seed={number + 1}"])
    best = {}
    for turn in range(words.rounds):
        out, kept = work / f"out{turn}", work / f"kept{turn}"
        steps = {"read": [strandline, "read", clips, "--out", out],
                 "again (report files alone)": [strandline, "read", clips, "--out", out],
                 "keep": [strandline, "store", "add", clips, "--report", out, "--store", kept]}
        for name, command in steps.items():
            wall, cpu, said = run(command)
            old = best.get(name, (wall, cpu))
            best[name] = (min(wall, old[0]), min(cpu, old[1]))
        uid = said.split()[2].rstrip(":")
        wall, cpu, _ = run([strandline, "store", "sign", uid, "--store", kept, "--by", "invented", "--text", "invented"])
        old = best.get("sign", (wall, cpu))
        best["sign"] = (min(wall, old[0]), min(cpu, old[1]))
    shutil.rmtree(work)
    reading = tuple(best["read"][i] - best["again (report files alone)"][i] for i in range(2))
    print(f"{len(os.sched_getaffinity(0))} cores, load {os.getloadavg()[0]:.1f}, best of {words.rounds}\n")
    print("| what | wall s | CPU s | of the reading (CPU) |\n| --- | ---: | ---: | ---: |")
    for name, (wall, cpu) in best.items():
        print(f"| {name} | {wall:.2f} | {cpu:.2f} | {cpu / reading[1]:.2f} |")
    part = best["again (report files alone)"][1] + best["keep"][1]
    print(f"\nreport and store together / reading: CPU {part / reading[1]:.2f} (aim: at most 0.2)")


if __name__ == "__main__":
    main()
