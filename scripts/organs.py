#!/usr/bin/env python3
"""Organs, the heart, the spine above the diaphragm and its mirror image on simulated chests whose truth is known, by kind and by difficulty:
what was stated, and the area of the index with its bootstrap interval. Prints a table for docs/organs.md. Standard library only.

    scripts/organs.py [--sign organ|spine|mirror_image|consolidation] [--build build] [--chests 12] [--seed 9001] [--keep FOLDER] [--rows FILE.csv]

--chests are of each kind; --keep: straightened pictures are kept there, so that a second run takes seconds; --rows takes the table of an
earlier run of build/tests/loop/organ_loop instead."""
import argparse
import csv
import io
import math
import pathlib
import random
import subprocess

WORDS = ["present", "uncertain", "absent", "could not tell"]


def word(row):
    """What was said; "could not tell" is no statement at all."""
    return row[options.sign] if row[options.sign + "_index"] != "nan" else WORDS[-1]


def index(row):
    """Could not tell: as sure of the one as of the other."""
    return float(row[options.sign + "_index"]) if row[options.sign + "_index"] != "nan" else 0.5


def share(count, of):
    """With its 95 % interval (Wilson 1927)."""
    if not of:
        return "0 of 0"
    p, z = count / of, 1.96
    middle, half = (p + z * z / (2 * of)) / (1 + z * z / of), z * math.sqrt(p * (1 - p) / of + z * z / (4 * of * of)) / (1 + z * z / of)
    return f"{count} of {of} ({max(middle - half, 0):.2f} to {min(middle + half, 1):.2f})"


def area(rows):
    """Share of pairs in the right order, ties half; NAN when one side is empty."""
    yes = [index(r) for r in rows if r["true_" + options.sign] == "present"]
    no = [index(r) for r in rows if r["true_" + options.sign] == "absent"]
    if not yes or not no:
        return math.nan
    return sum((a > b) + 0.5 * (a == b) for a in yes for b in no) / (len(yes) * len(no))


def interval(rows, times=1000):
    chance = random.Random(1)
    values = sorted(v for v in (area(chance.choices(rows, k=len(rows))) for _ in range(times)) if not math.isnan(v))
    return (values[int(0.025 * len(values))], values[int(0.975 * len(values)) - 1]) if values else (math.nan, math.nan)


parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
parser.add_argument("--sign", default="organ", choices=["organ", "spine", "mirror_image", "consolidation"])
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
print("| behind the pleura | chests | it is there, not there, not to be seen | " + " | ".join(WORDS) + " |\n| --- | ---: | ---: |" + " ---: |" * len(WORDS))
groups = [(kind, [r for r in rows if r["kind"] == kind]) for kind in dict.fromkeys(r["kind"] for r in rows)]
for name, group in groups:
    truth = ", ".join(str(sum(r["true_" + options.sign] == t for r in group)) for t in ["present", "absent", "uncertain"])
    print(f"| {name} | {len(group)} | {truth} | " + " | ".join(str(sum(word(r) == w for r in group)) for w in WORDS) + " |")
for name, grade in [("all", "123"), ("plain", "1"), ("usual", "2"), ("hard", "3")]:
    group = [r for r in rows if r["grade"] in grade]
    low, high = interval(group)
    print(f"\nArea of the index, {name}: {area(group):.2f} ({low:.2f} to {high:.2f}), {len(group)} chests.", end="")
    for there, other in [("present", "absent"), ("absent", "present")]:
        true = [r for r in group if r["true_" + options.sign] == there]
        print(f" {there.capitalize()}: stated {share(sum(word(r) == there for r in true), len(true))}, called {other} "
              f"{share(sum(word(r) == other for r in true), len(true))}.", end="")
    print()
