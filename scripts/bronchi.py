#!/usr/bin/env python3
"""Bronchograms read on simulated chests whose truth is known, by what the bronchi hold and by difficulty. Prints the tables of
docs/fluid-solid.md. Standard library only.

    scripts/bronchi.py [--build build] [--chests 34] [--seed 71000] [--keep FOLDER] [--rows FILE.csv ...]

--chests are of each kind (see tests/loop/bronchi_loop.c). --rows takes the tables of earlier runs of bronchi_loop instead of running it."""
import argparse
import csv
import io
import math
import pathlib
import statistics
import subprocess

from solid import GRADES, line, number, share

AIR, MOVES, TRAVEL, FLUID = "air_bronchogram", "air_bronchogram_moving", "air_bronchogram_travel_mm", "fluid_bronchogram"


def seen(row, key):
    return row[f"true_{key}_answer"] == "present" and number(row[f"true_{key}_sure"]) > 0


def by_grade(rows, cells, before=""):
    for name, grade in GRADES + [("all", None)]:
        line([before + name] + cells([r for r in rows if grade is None or r["grade"] == grade]))


def found(rows, key):
    stated = [r[f"{key}_answer"] for r in rows]
    return [share([s == "present" for s in stated]), share([s == "uncertain" for s in stated]), share([s == "absent" for s in stated])]


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--build", default="build", type=pathlib.Path)
    parser.add_argument("--chests", default=34, type=int)
    parser.add_argument("--seed", default=71000, type=int)
    parser.add_argument("--keep")
    parser.add_argument("--rows", nargs="*")
    options = parser.parse_args()
    if options.rows:
        texts = [pathlib.Path(name).read_text() for name in options.rows]
    else:
        keep = ["--keep", options.keep] if options.keep else []
        texts = [subprocess.run([options.build / "tests/loop/bronchi_loop", str(options.chests), str(options.seed), *keep], check=True,
                                stdout=subprocess.PIPE, text=True).stdout]
    rows = [r for text in texts for r in csv.DictReader(io.StringIO(text)) if r["read"] == "1"]
    print("Air that can be seen (still or moving)\n")
    line(["grade", "stated", "left open", "called absent"])
    line(["---"] * 4)
    by_grade([r for r in rows if seen(r, AIR)], lambda some: found(some, AIR))
    print("\nNo air, or none that can be seen\n")
    line(["grade", "stated", "left open", "called absent"])
    line(["---"] * 4)
    by_grade([r for r in rows if not seen(r, AIR)], lambda some: found(some, AIR))
    print("\nMoving told from still, where air is stated\n")
    line(["grade", "called moving", "left open", "called still"])
    line(["---"] * 4)
    for kind, answer in (("moving, ", "present"), ("still, ", "absent")):
        by_grade([r for r in rows if seen(r, AIR) and r[f"true_{MOVES}_answer"] == answer and r[f"{AIR}_answer"] == "present"],
                 lambda of: found(of, MOVES), kind)
    pairs = [(number(r[TRAVEL]), number(r[f"true_{TRAVEL}"]), number(r[f"{TRAVEL}_low"]), number(r[f"{TRAVEL}_high"])) for r in rows
             if seen(r, AIR) and not math.isnan(number(r[TRAVEL]))]
    if pairs:
        print(f"\nTravel, {len(pairs)} measured: median error {statistics.median([abs(a - b) for a, b, _, _ in pairs]):.2f} mm, mean difference "
              f"{statistics.mean([a - b for a, b, _, _ in pairs]):+.2f} mm; within 1 mm {share([abs(a - b) <= 1 for a, b, _, _ in pairs])}; the "
              f"interval holds the truth in {share([low <= b <= high for _, b, low, high in pairs])}.")
    print("\nEcho-free tubes\n")
    line(["", "stated", "left open", "called absent"])
    line(["---"] * 4)
    line(["fluid in the bronchi that can be seen"] + found([r for r in rows if seen(r, FLUID)], FLUID))
    line(["solid lung without"] + found([r for r in rows if not seen(r, FLUID) and r["kind"] != "no solid lung"], FLUID))
    line(["no solid lung"] + found([r for r in rows if r["kind"] == "no solid lung"], FLUID))


if __name__ == "__main__":
    main()
