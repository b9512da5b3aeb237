#!/usr/bin/env python3
"""The closed loop: chests by chance whose truth is known, through the whole of reading, and how far each finding is from
the truth, by grade, depth, frequency and gain. Writes docs/closed-loop.md. Standard library only.

    scripts/closed_loop.py [--build build] [--chests 500] [--seed 1] [--rows FILE.csv]

--rows takes the table of an earlier run (closed_loop CHESTS SEED --csv) instead of running it again."""
import argparse
import csv
import io
import math
import pathlib
import statistics
import subprocess


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
    return f"{100 * p:.0f} % ({100 * (centre - half):.0f} to {100 * (centre + half):.0f})"


def area(positive, negative):
    """Area under the ROC curve as the share of pairs in the right order, ties half."""
    if not positive or not negative:
        return ""
    won = sum((a > b) + 0.5 * (a == b) for a in positive for b in negative)
    return f"{won / (len(positive) * len(negative)):.2f} ({len(positive)} / {len(negative)})"


def line(name, rows):
    depth = [abs(r["mm"] - r["true_mm"]) if not math.isnan(r["mm"]) else math.inf for r in rows if not math.isnan(r["true_mm"])]
    near = [e for e in depth if math.isfinite(e)]
    counts = [(r["count"], r["true_count"]) for r in rows if not math.isnan(r["true_count"]) and r["seen"]]
    cover = [abs(r["coverage"] - r["true_coverage"]) for r in rows if not math.isnan(r["coverage"] - r["true_coverage"])]
    found = [r for r in rows if not math.isnan(r["b_index"]) and not math.isnan(r["true_b"])]
    lines = [r for r in rows if not math.isnan(r["a_index"]) and not math.isnan(r["true_a"])]
    cells = [name, len(rows), wilson(sum(e <= 1 for e in depth), len(depth)), f"{statistics.median(near):.2f}" if near else "",
             wilson(sum(abs(a - b) <= 1 for a, b in counts if not math.isnan(a)), len(counts)),
             f"{statistics.mean(a - b for a, b in counts if not math.isnan(a)):+.2f}" if counts else "",
             f"{statistics.mean(cover):.2f}" if cover else "",
             area([r["b_index"] for r in found if r["true_b"] > 0.5], [r["b_index"] for r in found if r["true_b"] <= 0.5]),
             area([r["a_index"] for r in lines if r["true_a"] > 0.5], [r["a_index"] for r in lines if r["true_a"] <= 0.5])]
    return "| " + " | ".join(map(str, cells)) + " |"


def main():
    root = pathlib.Path(__file__).resolve().parent.parent
    parser = argparse.ArgumentParser()
    parser.add_argument("--build", type=pathlib.Path, default=root / "build")
    parser.add_argument("--chests", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rows", type=pathlib.Path)
    words = parser.parse_args()
    if words.rows:
        text = words.rows.read_text(encoding="utf-8")
    else:
        text = subprocess.run([str(words.build / "tests" / "loop" / "closed_loop"), str(words.chests), str(words.seed), "--csv"],
                              check=True, capture_output=True, text=True).stdout
    rows = [{k: v if k == "why" else number(v) for k, v in row.items()} for row in csv.DictReader(io.StringIO(text))]
    groups = [("by difficulty", [("plain", lambda r: r["grade"] == 1), ("usual", lambda r: r["grade"] == 2), ("hard", lambda r: r["grade"] == 3)]),
              ("by imaged depth", [("to 60 mm", lambda r: r["depth_mm"] <= 60), ("60 to 100 mm", lambda r: 60 < r["depth_mm"] <= 100),
                                   ("100 to 140 mm", lambda r: 100 < r["depth_mm"] <= 140), ("over 140 mm", lambda r: r["depth_mm"] > 140)]),
              ("by frequency", [("to 3 MHz", lambda r: r["freq_mhz"] <= 3), ("3 to 5 MHz", lambda r: 3 < r["freq_mhz"] <= 5), ("over 5 MHz", lambda r: r["freq_mhz"] > 5)]),
              ("by gain", [("under -2 dB", lambda r: r["gain_db"] < -2), ("-2 to 2 dB", lambda r: -2 <= r["gain_db"] <= 2), ("over 2 dB", lambda r: r["gain_db"] > 2)])]
    out = ["# Reading simulated chests", "",
           f"Made by `scripts/closed_loop.py`: {len(rows)} chests by chance (seed {words.seed}), invented, three grades of difficulty by turns,",
           "probe and controls by chance too. The truth comes from geometry (docs/simulator.md); pictures go to the reader without",
           "video coding. Supports and does not replace a clinician's judgement; simulated chests are no patients, and the reader's",
           "figures on real clips are in docs/accuracy.md.", "",
           "- depth: the pleural line within 1.0 mm of the truth (median error in mm); a line that was not found counts as wrong.",
           "  Where fluid parts the layers the truth is the outer one.",
           "- B-lines: the most in one frame within one of the truth, for chests whose settings can show them; mean difference",
           "  (read minus true); mean error of the covered share.",
           "- areas under the ROC curve of the two indices against what is there (how many with / without).",
           "- In brackets: 95 % intervals (Wilson)."]
    head = ["| | chests | depth within 1 mm | median error | B-lines within one | mean difference | coverage off by | B-line area | A-line area |",
            "| --- | ---: | --- | ---: | --- | ---: | ---: | --- | --- |"]
    out += ["", "## All", ""] + head + [line("all", rows)]
    for title, parts in groups:
        out += ["", f"## {title.capitalize()}", ""] + head + [line(name, [r for r in rows if test(r)]) for name, test in parts]
    unread = [r for r in rows if not r["read"]]
    out += ["", f"Not read: {len(unread)} of {len(rows)}."]
    (root / "docs" / "closed-loop.md").write_text("\n".join(out) + "\n", encoding="utf-8")
    print("\n".join(out))


main()
