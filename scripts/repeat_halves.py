"""The program's own repeatability on real clips: each clip is cut in two, each half read alone, the levels compared.
Prints, for the four-level score and regional aeration, pairs, people, how many agree, the within-zone standard deviation and its
95 % interval by bootstrap over people (src/exam/change_table.h).
Usage: repeat_halves.py STRANDLINE WORK_FOLDER [CLIPS = ../shared/clips/videos]. Needs PyAV and numpy."""
import csv
import pathlib
import re
import subprocess
import sys

import av
import numpy as np


def cut(source, out):
    with av.open(str(source)) as clip:
        frames = [frame.to_ndarray(format="rgb24") for frame in clip.decode(video=0)]
        rate = clip.streams.video[0].average_rate
    middle = len(frames) // 2
    for half, part in enumerate((frames[:middle], frames[middle:])):
        with av.open(str(out / f"{source.stem}_h{half}.mp4"), "w") as made:
            stream = made.add_stream("libx264", rate=rate)
            stream.height, stream.width = part[0].shape[:2]
            stream.pix_fmt, stream.options = "yuv420p", {"crf": "8", "preset": "ultrafast"}
            for picture in part:
                made.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="rgb24")))
            made.mux(stream.encode())


def four_level(row):
    return round(float(row["score"])) if row["score"] else None


def regional(row):
    """As sl_level_regional (src/exam/schemes.c), where it comes to one level."""
    if row["consolidation"] == "present":
        return 3
    if "uncertain" in (row["b_lines"], row["consolidation"]):
        return None
    if row["b_lines"] == "absent":
        return 0
    if not row["b_line_count"]:
        return None
    count, coverage = float(row["b_line_count"]), float(row["b_line_coverage"] or 0)
    return 2 if row["white_lung"] == "present" or (count < 3 and coverage >= 0.3) else int(count >= 3)


def deviation(pairs):
    return float(np.sqrt(np.mean([(a - b) ** 2 for a, b in pairs]) / 2))


strandline, work = sys.argv[1], pathlib.Path(sys.argv[2])
folder = pathlib.Path(sys.argv[3] if len(sys.argv) > 3 else "../shared/clips/videos")
clips = sorted(folder.glob("*.mp4"))
if not clips:
    sys.exit(f"skipped: no clip in {folder}")
(work / "in").mkdir(parents=True, exist_ok=True)
for clip in clips:
    cut(clip, work / "in")
subprocess.run([strandline, "read", work / "in", "--out", work / "out"], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
with open(work / "out" / "readings.csv", encoding="utf-8") as table:
    rows = {row["clip"]: row for row in csv.DictReader(table) if row["status"] == "read"}
dice = np.random.default_rng(1)
for name, level in (("four levels", four_level), ("regional", regional)):
    people = {}
    for clip in rows:
        other = clip.replace("_h0.", "_h1.")
        if "_h0." in clip and other in rows and None not in (level(rows[clip]), level(rows[other])):
            people.setdefault(re.match(r"[^_]*_[^_]*", clip)[0], []).append((level(rows[clip]), level(rows[other])))
    pairs = [pair for own in people.values() for pair in own]
    drawn = [deviation([pair for k in dice.integers(len(people), size=len(people)) for pair in list(people.values())[k]]) for _ in range(2000)]
    low, high = np.percentile(drawn, [2.5, 97.5])
    print(f"{name}: {len(pairs)} pairs of {len(people)} people, {sum(a == b for a, b in pairs)} alike, Sw {deviation(pairs):.2f} ({low:.2f} to {high:.2f})")
