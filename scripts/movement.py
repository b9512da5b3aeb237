#!/usr/bin/env python3
"""Movement read on simulated chests whose truth is known: sliding, its amplitude, the lung pulse, the lung point, the breathing
rate, by difficulty, and the same pictures with frames left out; and how often the signs of a pneumothorax are claimed on the
real clips, of which none is known to show one. Writes docs/movement-loop.md. Standard library only.

    scripts/movement.py [--build build] [--chests 40] [--seed 5001] [--seconds 8] [--workers 1] [--rows FILE.csv]

--chests are of each kind (slides, still, pulse, air, lung point). --rows takes the table of earlier runs instead."""
import argparse
import csv
import io
import math
import pathlib
import random
import re
import statistics
import subprocess
import tempfile

KINDS = ["slides", "still", "pulse", "air", "lung point"]
GRADES = [("plain", "1"), ("usual", "2"), ("hard", "3")]


def number(text):
    try:
        value = float(text)
    except ValueError:
        return math.nan
    return value if math.isfinite(value) else math.nan


def wilson(good, of):
    """95 % interval of a share (Wilson 1927, JASA 22:209)."""
    if not of:
        return ""
    z, p = 1.959964, good / of
    centre, half = (p + z * z / (2 * of)) / (1 + z * z / of), z * math.sqrt(p * (1 - p) / of + z * z / (4 * of * of)) / (1 + z * z / of)
    return f"{good} of {of}, {p:.2f} ({centre - half:.2f} to {centre + half:.2f})"


def area(rows, key):
    """Area under the ROC curve of an index as the share of pairs in the right order, ties half; its 95 % interval by Hanley
    and McNeil 1982 (Radiology 143:29)."""
    yes = [number(r[key]) for r in rows if r[f"true_{key}_answer"] == "present" and not math.isnan(number(r[key]))]
    no = [number(r[key]) for r in rows if r[f"true_{key}_answer"] == "absent" and not math.isnan(number(r[key]))]
    if not yes or not no:
        return ""
    a = sum((x > y) + 0.5 * (x == y) for x in yes for y in no) / (len(yes) * len(no))
    q1, q2 = a / (2 - a), 2 * a * a / (1 + a)
    se = math.sqrt(max(a * (1 - a) + (len(yes) - 1) * (q1 - a * a) + (len(no) - 1) * (q2 - a * a), 0) / (len(yes) * len(no)))
    return f"{a:.3f} ({max(a - 1.96 * se, 0):.3f} to {min(a + 1.96 * se, 1):.3f}), {len(yes)} / {len(no)}"


def answers(rows, key):
    """Sensitivity and specificity with uncertain counted as wrong, and the share that is left open."""
    yes = [r for r in rows if r[f"true_{key}_answer"] == "present"]
    no = [r for r in rows if r[f"true_{key}_answer"] == "absent"]
    open_ = sum(r[f"{key}_answer"] == "uncertain" for r in rows)
    return [wilson(sum(r[f"{key}_answer"] == "present" for r in yes), len(yes)),
            wilson(sum(r[f"{key}_answer"] == "absent" for r in no), len(no)),
            wilson(sum(r[f"{key}_answer"] != "present" for r in no), len(no)), f"{100 * open_ / max(len(rows), 1):.0f} %"]


def amounts(rows, key, near):
    pairs = [(number(r[key]), number(r[f"true_{key}"]), number(r[f"{key}_low"]), number(r[f"{key}_high"])) for r in rows]
    pairs = [p for p in pairs if not math.isnan(p[0]) and not math.isnan(p[1])]
    if not pairs:
        return ["", "", "", ""]
    return [wilson(sum(near(a, b) for a, b, _, _ in pairs), len(pairs)), f"{statistics.median(abs(a - b) for a, b, _, _ in pairs):.2f}",
            f"{statistics.mean(a - b for a, b, _, _ in pairs):+.2f}", wilson(sum(l <= b <= h for _, b, l, h in pairs), len(pairs))]


def by_group(flags, groups, times=2000):
    """Share with its 95 % interval by drawing whole groups (people, sources) with replacement."""
    names = sorted(set(groups))
    of = {n: [f for f, g in zip(flags, groups) if g == n] for n in names}
    chance, shares = random.Random(1), []
    for _ in range(times):
        drawn = [f for n in chance.choices(names, k=len(names)) for f in of[n]]
        shares.append(sum(drawn) / len(drawn))
    shares.sort()
    return f"{sum(flags)} of {len(flags)}, {sum(flags) / len(flags):.2f} ({shares[int(0.025 * times)]:.2f} to {shares[int(0.975 * times)]:.2f})"


def real_clips(root, program, out):
    clips = root / ".." / "shared" / "clips"
    if not clips.is_dir():
        out += ["## On real clips", "", "The clips are absent; nothing measured.", ""]
        return
    with open(clips / "devices/labels.csv", newline="", encoding="utf-8") as file:
        source = {r["clip"]: r["source"] for r in csv.DictReader(file)}
    sets = (("one device (114 clips of 21 people)", clips / "videos", lambda n: re.match(r"patient_\d+", n).group()),
            ("devices (59 clips of 7 sources)", clips / "devices/videos", lambda n: source.get(n, n)))
    out += ["## On real clips", "",
            "No clip is known to show a pneumothorax, and nearly all lungs should slide, though some clips of 2 to 4 s hold a part of",
            "a breath only. So `absent` sliding and a `present` lung point or pulse are taken for false here. Development clips; intervals",
            "by drawing whole people (sources).", ""]
    lines = []
    with tempfile.TemporaryDirectory() as work:
        for name, folder, group in sets:
            target = pathlib.Path(work) / "out"
            subprocess.run([program, "read", folder, "--out", target, "--workers", "1"], capture_output=True, check=True)
            rows = list(csv.DictReader(open(target / "readings.csv", newline="", encoding="utf-8")))
            groups = [group(pathlib.PurePath(r["clip"]).name) for r in rows]
            share = lambda key, word: by_group([r[key] == word for r in rows], groups)
            lines.append([name, share("sliding", "present"), share("sliding", "uncertain"), share("sliding", "absent"),
                          share("lung_pulse", "present"), share("lung_point", "present")])
            for file in sorted(target.rglob("*"), reverse=True):
                file.unlink() if file.is_file() else file.rmdir()
    table(out, ["", "sliding present", "left open", "sliding absent", "lung pulse", "lung point"], lines)


def table(out, head, lines):
    out += ["| " + " | ".join(head) + " |", "| --- |" + " --- |" * (len(head) - 1)]
    out += ["| " + " | ".join(str(c) for c in line) + " |" for line in lines] + [""]


def main():
    root = pathlib.Path(__file__).resolve().parent.parent
    parser = argparse.ArgumentParser()
    parser.add_argument("--build", default="build")
    parser.add_argument("--chests", type=int, default=40)
    parser.add_argument("--seed", type=int, default=5001)
    parser.add_argument("--seconds", type=float, default=8)
    parser.add_argument("--workers", type=int, default=0)
    parser.add_argument("--rows", nargs="*")
    args = parser.parse_args()
    texts = [pathlib.Path(p).read_text(encoding="utf-8") for p in args.rows] if args.rows else []
    if not texts:
        for kind in range(len(KINDS)):
            texts.append(subprocess.run([root / args.build / "tests/loop/movement_loop", str(args.chests), str(args.seed), str(args.seconds),
                                         "--kind", str(kind), "--decimate", "--workers", str(args.workers)],
                                        capture_output=True, text=True, check=True).stdout)
    rows = [r for text in texts for r in csv.DictReader(io.StringIO(text)) if r["kind"] in KINDS]
    whole = [r for r in rows if r["every"] == "1"]
    read = [r for r in whole if r["read"] == "1"]
    parts = [("all", read)] + [(name, [r for r in read if r["grade"] == g]) for name, g in GRADES]
    counts = ", ".join(f"{sum(r['kind'] == k for r in whole)} {k}" for k in KINDS)
    out = ["# Movement on simulated chests", "",
           f"Made by `scripts/movement.py`: {len(whole)} invented chests by chance ({counts}), {args.seconds:.0f} s each (more in the part with frames left out) at 12 to 40",
           "frames a second, three grades of difficulty by turns; seeds other than those that the numbers in",
           "`src/reading/motion_table.h` were chosen on. The truth comes from the scenario (docs/simulator.md). Pictures go to the",
           "reader without video coding. Simulated chests are no patients. Supports and does not replace a clinician's judgement.", "",
           f"No view found or not read: {len(whole) - len(read)} of {len(whole)}; left out below. In brackets 95 % intervals (Wilson; areas",
           "by Hanley and McNeil).", "",
           "## Sliding present or absent", "",
           "Sensitivity and specificity count an answer left open (`uncertain`) as wrong; the column after says how often absent chests",
           "were not called present.", ""]
    head = ["", "area of the index, present / absent", "present found", "absent found", "absent not called present", "left open"]
    table(out, head, [[name, area(part, "sliding")] + answers(part, "sliding") for name, part in parts])
    out += ["## Amplitude (chests of the kind that slides)", "", "Near: within 20 % or 0.5 mm.", ""]
    slides = [(name, [r for r in part if r["kind"] == "slides"]) for name, part in parts]
    table(out, ["", "near", "median error, mm", "mean difference, mm", "interval holds the truth"],
          [[name] + amounts(part, "sliding_amplitude_mm", lambda a, b: abs(a - b) <= max(0.5, 0.2 * b)) for name, part in slides])
    out += ["## Breathing rate (chests of the kind that slides)", "", "Near: within 1 a minute.", ""]
    table(out, ["", "near, of those stated", "median error", "mean difference", "interval holds the truth", "stated"],
          [[name] + amounts(part, "breathing_rate", lambda a, b: abs(a - b) <= 1) +
           [wilson(sum(r["breathing_rate_known"] == "1" for r in part), len(part))] for name, part in slides])
    out += ["## Lung pulse", ""]
    table(out, head, [[name, area(part, "lung_pulse")] + answers(part, "lung_pulse") for name, part in parts])
    out += ["## Lung point", ""]
    table(out, head, [[name, area(part, "lung_point")] + answers(part, "lung_point") for name, part in parts])
    points = [r for r in read if r["kind"] == "lung point" and r["lung_point_answer"] == "present"]
    travel = amounts(points, "lung_point_travel_mm", lambda a, b: abs(a - b) <= 3)
    out += [f"Travel of those found: within 3 mm in {travel[0]}; median error {travel[1]} mm.", ""]
    out += ["## Frames left out", "",
            "The same chests, every picture, every second, fourth and eighth. A wrong answer is one that is not left open and not the truth;",
            "a wrong number is an amplitude off by more than 30 % and 1 mm, or a rate off by more than 2 a minute.", ""]
    lines = []
    for low, high in ((24, 60), (12, 24), (6, 12), (3, 6), (0, 3)):
        part = [r for r in rows if r["read"] == "1" and low <= number(r["frame_rate"]) < high]
        wrong = lambda key: wilson(sum(r[f"{key}_answer"] not in ("uncertain", r[f"true_{key}_answer"]) for r in part), len(part))
        slide = [r for r in part if r["kind"] == "slides"]
        stated = lambda key: [r for r in slide if r[f"{key}_known"] == "1"]
        off = lambda key, limit: wilson(sum(limit(number(r[key]), number(r[f"true_{key}"])) for r in stated(key)), len(stated(key)))
        lines.append([f"{low} to {high}", len(part), wrong("sliding"),
                      f"{100 * sum(r['sliding_answer'] == 'uncertain' for r in part) / max(len(part), 1):.0f} %", wrong("lung_pulse"),
                      off("sliding_amplitude_mm", lambda a, b: abs(a - b) > max(1, 0.3 * b)),
                      off("breathing_rate", lambda a, b: abs(a - b) > 2)])
    table(out, ["frames a second", "clips", "sliding wrong", "sliding left open", "pulse wrong", "amplitude wrong, of those stated",
                "rate wrong, of those stated"], lines)
    real_clips(root, (root / args.build / "strandline").resolve(), out)
    (root / "docs" / "movement-loop.md").write_text("\n".join(out).rstrip() + "\n", encoding="utf-8")
    print("\n".join(out))


if __name__ == "__main__":
    main()
