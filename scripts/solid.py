#!/usr/bin/env python3
"""Fluid and solid lung read on simulated chests whose truth is known, by what lies behind the pleura and by difficulty. Prints the
tables of docs/fluid-solid.md. Standard library only.

    scripts/solid.py [--build build] [--chests 34] [--seed 41000] [--keep FOLDER] [--workers 1] [--rows FILE.csv ...]

--chests are of each kind (see tests/loop/solid_chests.c). --keep keeps the rendered chests for the next time. --rows takes the tables
of earlier runs of solid_loop instead of running it."""
import argparse
import csv
import io
import math
import pathlib
import random
import statistics
import subprocess

GRADES = [("plain", "1"), ("usual", "2"), ("hard", "3")]
WET = ("fluid", "fluid and collapsed lung")
SOLID = ("subpleural consolidation", "lobar consolidation")


def number(text):
    try:
        value = float(text)
    except (TypeError, ValueError):
        return math.nan
    return value if math.isfinite(value) else math.nan


def share(flags, times=2000):
    """A share with its 95 % interval by drawing chests with replacement."""
    if not flags:
        return "none"
    chance = random.Random(1)
    drawn = sorted(sum(chance.choices(flags, k=len(flags))) / len(flags) for _ in range(times))
    low, high = drawn[int(0.025 * times)], drawn[int(0.975 * times)]
    return f"{sum(flags)} of {len(flags)}, {sum(flags) / len(flags):.2f} ({low:.2f} to {high:.2f})"


def stated(rows, key):
    return share([r[f"{key}_answer"] == "present" for r in rows])


def off(rows, key, truth, limit):
    """Within the limit among the measured ones and among all that have a truth; the median error."""
    pairs = [(number(r[key]), number(r[truth])) for r in rows if number(r[truth]) > 0]
    known = [abs(a - b) for a, b in pairs if not math.isnan(a)]
    middle = f"{statistics.median(known):.1f} mm" if known else ""
    return [share([e <= limit for e in known]), share([not math.isnan(a) and abs(a - b) <= limit for a, b in pairs]), middle]


def held(rows, key, truth):
    """How often the stated interval holds the truth."""
    return share([number(r[f"{key}_low"]) <= number(r[truth]) <= number(r[f"{key}_high"])
                  for r in rows if number(r[truth]) > 0 and not math.isnan(number(r[key]))])


def line(cells):
    print("| " + " | ".join(cells) + " |")


def tables(rows):
    kinds = list(dict.fromkeys(r["kind"] for r in rows))
    line(["behind the pleura", "grade", "fluid stated", "no air stated", "pleura within 1 mm"])
    line(["---"] * 5)
    for kind in kinds:
        for name, grade in GRADES + [("all", None)]:
            some = [r for r in rows if r["kind"] == kind and grade in (None, r["grade"])]
            line([kind, name, stated(some, "effusion"), stated(some, "consolidation"),
                  off(some, "pleura_depth_mm", "true_pleura_depth_mm", 1)[1]])
    for title, group, key, limit in (("Fluid, depth within 2 mm", WET, "effusion_depth_mm", 2),
                                     ("Fluid, change of the depth with the breath within 2 mm", WET, "effusion_swing_mm", 2),
                                     ("Solid lung, extent within 3 mm", SOLID, "consolidation_extent_mm", 3)):
        print(f"\n{title}\n")
        line(["behind the pleura", "grade", "of the measured", "of all", "median error", "interval holds it"])
        line(["---"] * 6)
        for kind in group:
            for name, grade in GRADES + [("all", None)]:
                some = [r for r in rows if r["kind"] == kind and grade in (None, r["grade"])]
                if some:
                    line([kind, name] + off(some, key, f"true_{key}", limit) + [held(some, key, f"true_{key}")])
    print("\nWhat is in fluid that is found\n")
    line(["drawn", "septa stated", "particles stated"])
    line(["---"] * 3)
    for code, name in (("0", "nothing"), ("1", "particles"), ("2", "septa")):
        some = [r for r in rows if r["kind"] in WET and r["fluid_kind"] == code and r["effusion_answer"] == "present"]
        line([name, stated(some, "effusion_septa"), stated(some, "effusion_particles")])


def main():
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--build", default="build")
    ask.add_argument("--chests", type=int, default=34)
    ask.add_argument("--seed", type=int, default=41000)
    ask.add_argument("--keep")
    ask.add_argument("--workers", type=int, default=1)
    ask.add_argument("--rows", nargs="*")
    said = ask.parse_args()
    if said.rows:
        texts = [pathlib.Path(name).read_text(encoding="utf-8") for name in said.rows]
    else:
        command = [str(pathlib.Path(said.build) / "tests/loop/solid_loop"), str(said.chests), str(said.seed), "--workers", str(said.workers)]
        command += ["--keep", said.keep] if said.keep else []
        texts = [subprocess.run(command, check=True, capture_output=True, text=True).stdout]
    rows = [row for text in texts for row in csv.DictReader(io.StringIO(text)) if row["read"] == "1"]
    tables(rows)


if __name__ == "__main__":
    main()
