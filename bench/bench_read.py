#!/usr/bin/env python3
"""What `strandline read` costs, as ratios measured side by side in one run: against decoding alone on one thread, and
against the same steps written with NumPy, SciPy and OpenCV (reference_read.py); and its peak memory, also on a clip many
times as long. Standard library only; the counterpart needs numpy, scipy, opencv-python-headless, av and matplotlib.

    meson setup build -Dbench=true && ninja -C build
    bench/bench_read.py [--build build] [--python python3] [--rounds 3] [--limit N] CLIP_OR_FOLDER...

Each line is the best of the rounds, which take turns. CPU seconds (user and system, all threads) hold on a busy machine
where wall seconds do not; both are printed.
"""
import argparse
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import time

ENDINGS = (".mp4", ".mov", ".avi", ".mpg", ".gif", ".dcm")


def run(words):
    """Wall seconds, CPU seconds, peak memory in MB, standard output."""
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        began = time.perf_counter()
        child = subprocess.Popen(words, stdout=out, stderr=err)
        _, status, usage = os.wait4(child.pid, 0)
        wall = time.perf_counter() - began
        child.returncode = os.waitstatus_to_exitcode(status)
        out.seek(0)
        err.seek(0)
        if child.returncode != 0:
            sys.exit(f"{words[0]} failed: {err.read().decode(errors='replace')[-600:]}")
        return wall, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024, out.read().decode()


def best(rounds, tasks, prepare):
    kept = {}
    for turn in range(rounds):
        for name, words in tasks.items():
            prepare(name)
            wall, cpu, memory, text = run(words)
            old = kept.get(name, (wall, cpu, memory, text))
            kept[name] = (min(wall, old[0]), min(cpu, old[1]), max(memory, old[2]), text)
            print(f"  round {turn + 1}: {name}: {wall:.2f} s, CPU {cpu:.2f} s", file=sys.stderr)
    return kept


def find_clips(places):
    clips = []
    for place in places:
        path = pathlib.Path(place)
        clips += sorted(p for p in path.rglob("*") if p.suffix.lower() in ENDINGS) if path.is_dir() else [path]
    return clips


def main():
    root = pathlib.Path(__file__).resolve().parent.parent
    parser = argparse.ArgumentParser()
    parser.add_argument("places", nargs="+")
    parser.add_argument("--build", type=pathlib.Path, default=root / "build")
    parser.add_argument("--python", default=sys.executable)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--limit", type=int, default=0)
    words = parser.parse_args()
    clips = find_clips(words.places)
    clips = [str(c) for c in (clips[: words.limit] if words.limit else clips)]
    if not clips:
        sys.exit("no clips there")
    cores = len(os.sched_getaffinity(0))
    reference = [words.python, str(root / "bench" / "reference_read.py")]
    work = pathlib.Path(tempfile.mkdtemp(prefix="bench_read_"))
    read = [str(words.build / "strandline"), "read", "--out", str(work / "read")]
    tasks = {
        "decode alone, one thread": [str(words.build / "bench" / "bench_decode"), *clips],
        "strandline read": [*read, *clips],
        "NumPy, one process": [*reference, "--out", str(work / "numpy1"), *clips],
        f"NumPy, {cores} processes": [*reference, "--workers", str(cores), "--out", str(work / "numpy2"), *clips],
        "NumPy, one process, no report": [*reference, "--no-report", "--out", str(work / "numpy3"), *clips],
    }

    def prepare(name):
        for folder in work.iterdir():
            shutil.rmtree(folder)

    kept = best(words.rounds, tasks, prepare)
    decode, mine = kept["decode alone, one thread"], kept["strandline read"]
    frames = int(decode[3].split()[-1])
    print(f"{len(clips)} clips, {frames} frames, {cores} cores, best of {words.rounds}\n")
    print("| what | wall s | CPU s | CPU ms a frame | wall against read | CPU against read | peak MB |")
    print("| --- | ---: | ---: | ---: | ---: | ---: | ---: |")
    for name, (wall, cpu, memory, _) in kept.items():
        print(f"| {name} | {wall:.2f} | {cpu:.2f} | {1000 * cpu / frames:.2f} | {wall / mine[0]:.2f} | {cpu / mine[1]:.2f} | "
              f"{memory:.0f} |")
    print(f"\nread / decode alone: wall {mine[0] / decode[0]:.2f}, CPU {mine[1] / decode[1]:.2f} (aim: at most 2)")
    for name in list(kept)[2:4]:
        print(f"{name} / read: wall {kept[name][0] / mine[0]:.1f}, CPU {kept[name][1] / mine[1]:.1f} (aim: at least 20); without "
              f"decoding in both: CPU {(kept[name][1] - decode[1]) / max(mine[1] - decode[1], 1e-9):.1f}")
    ffmpeg = shutil.which("ffmpeg")
    if not ffmpeg:
        print("no ffmpeg here: the long clip is left out")
    else:
        print("\n| frames of one clip | read: peak MB | CPU ms a frame |\n| ---: | ---: | ---: |")
        for loops in (0, 9, 39):
            long_clip = str(work / f"long{loops}.mp4")
            subprocess.run([ffmpeg, "-y", "-v", "error", "-stream_loop", str(loops), "-i", clips[0], "-c", "copy", long_clip],
                           check=True)
            count = int(run([tasks["decode alone, one thread"][0], long_clip])[3].split()[-1])
            _, cpu, memory, _ = run([*read, long_clip])
            print(f"| {count} | {memory:.0f} | {1000 * cpu / count:.2f} |")
    shutil.rmtree(work)


if __name__ == "__main__":
    main()
