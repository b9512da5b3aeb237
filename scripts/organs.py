#!/usr/bin/env python3
"""Organs and the heart on simulated chests whose truth is known, by kind and by difficulty: what was stated, and the area of the index with
its bootstrap interval. Prints a table for docs/organs.md. Standard library only.

    scripts/organs.py [--build build] [--chests 12] [--seed 9001] [--keep FOLDER] [--rows FILE.csv]

--chests are of each kind; --keep: straightened pictures are kept there, so that a second run takes seconds; --rows takes the table of an
earlier run of build/tests/loop/organ_loop instead."""
import argparse
import csv
import io
import math
import pathlib
import random
import subprocess

WORDS = ["present", "uncertain", "absent"]


def area(rows):
    """Share of pairs in the right order, ties half; NAN when one side is empty."""
    yes = [float(r["organ_index"]) for r in rows if r["true_organ"] == "present" and r["organ_index"] != "nan"]
    no = [float(r["organ_index"]) for r in rows if r["true_organ"] == "absent" and r["organ_index"] != "nan"]
    if not yes or not no:
        return math.nan
    return sum((a > b) + 0.5 * (a == b) for a in yes for b in no) / (len(yes) * len(no))


def interval(rows, times=1000):
    chance = random.Random(1)
    values = sorted(v for v in (area(chance.choices(rows, k=len(rows))) for _ in range(times)) if not math.isnan(v))
    return (values[int(0.025 * len(values))], values[int(0.975 * len(values)) - 1]) if values else (math.nan, math.nan)


parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
parser.add_argument("--build", default="build")
parser.add_argument("--chests", type=int, default=12)
parser.add_argument("--seed", type=int, default=9001)
parser.add_argument("--keep")
parser.add_argument("--rows")
options = parser.parse_args()
if options.rows:
    text = pathlib.Path(options.rows).read_text(encoding="utf-8")
else:
    run = [str(pathlib.Path(options.build) / "tests/loop/organ_loop"), str(options.chests), str(options.seed)]
    text = subprocess.run(run + (["--keep", options.keep] if options.keep else []), check=True, capture_output=True, text=True).stdout
rows = [r for r in csv.DictReader(io.StringIO(text)) if r["read"] == "1"]
print("| behind the pleura | chests | " + " | ".join(WORDS) + " |\n| --- | ---: | ---: | ---: | ---: |")
groups = [(kind, [r for r in rows if r["kind"] == kind]) for kind in dict.fromkeys(r["kind"] for r in rows)]
for name, group in groups:
    print(f"| {name} | {len(group)} | " + " | ".join(str(sum(r["organ"] == word for r in group)) for word in WORDS) + " |")
for name, grade in [("all", "123"), ("plain", "1"), ("usual", "2"), ("hard", "3")]:
    group = [r for r in rows if r["grade"] in grade]
    low, high = interval(group)
    print(f"\nArea of the index, {name}: {area(group):.2f} ({low:.2f} to {high:.2f}), {len(group)} chests.")
