#!/usr/bin/env python3
"""Diaphragm and curtain read on simulated chests whose truth is known, by difficulty, the same dome with frames left out, and how
often either is claimed on the real clips. Prints the tables of docs/diaphragm.md and writes docs/diaphragm-loop.md. Standard library
only.

    scripts/diaphragm.py [--build build] [--chests 40] [--seed 7001] [--seconds 10] [--rows FILE.csv ...]

--chests are of each kind of tests/loop/diaphragm_loop.c. --rows takes the tables of earlier runs instead."""
import argparse
import csv
import io
import math
import pathlib
import re
import statistics
import subprocess
import tempfile

from movement import GRADES, by_group, number, table, wilson

NONE = ("slides", "lung point", "dome still", "base still")


def area(yes, no):
    """Area under the ROC curve, ties half; 95 % interval by Hanley and McNeil 1982 (Radiology 143:29)."""
    if not yes or not no:
        return ""
    a = sum((x > y) + 0.5 * (x == y) for x in yes for y in no) / (len(yes) * len(no))
    q1, q2 = a / (2 - a), 2 * a * a / (1 + a)
    se = math.sqrt(max(a * (1 - a) + (len(yes) - 1) * (q1 - a * a) + (len(no) - 1) * (q2 - a * a), 0) / (len(yes) * len(no)))
    return f"{a:.3f} ({max(a - 1.96 * se, 0):.3f} to {min(a + 1.96 * se, 1):.3f}), {len(yes)} / {len(no)}"


def signs(rows, key, kind, none):
    lines = []
    for name, part in [("all", rows)] + [(n, [r for r in rows if r["grade"] == g]) for n, g in GRADES]:
        yes = [r for r in part if r["kind"] == kind]
        no = [r for r in part if r["kind"] in none]
        index = lambda rs: [number(r[key]) for r in rs if not math.isnan(number(r[key]))]
        said = lambda rs, word: wilson(sum(r[f"{key}_answer"] == word for r in rs), len(rs))
        lines.append([name, area(index(yes), index(no)), said(yes, "present"), said(no, "absent"), said(no, "present")])
    return lines


def amounts(rows, key, truth, near, kind):
    lines = []
    part_of = [("all", rows)] + [(n, [r for r in rows if r["grade"] == g]) for n, g in GRADES]
    for name, part in part_of:
        all_ = [r for r in part if r["kind"] in kind and not math.isnan(number(r[truth]))]
        stated = [(number(r[key]), number(r[truth]), number(r[f"{key}_low"]), number(r[f"{key}_high"])) for r in all_ if r[f"{key}_known"] == "1"]
        if not stated:
            lines.append([name, f"0 of {len(all_)}", "", "", "", ""])
            continue
        lines.append([name, wilson(len(stated), len(all_)), wilson(sum(near(a, b) for a, b, _, _ in stated), len(stated)),
                      f"{statistics.median(abs(a - b) for a, b, _, _ in stated):.2f}", f"{statistics.mean(a - b for a, b, _, _ in stated):+.2f}",
                      wilson(sum(l <= b <= h for _, b, l, h in stated), len(stated))])
    return lines


def real_clips(root, program, read, out):
    clips = root / ".." / "shared" / "clips"
    if not clips.is_dir():
        out += ["## On real clips", "", "The clips are absent; nothing measured.", ""]
        return
    with open(clips / "devices/labels.csv", newline="", encoding="utf-8") as file:
        source = {r["clip"]: r["source"] for r in csv.DictReader(file)}
    sets = (("one device (114 clips of 21 people)", clips / "videos", lambda n: re.match(r"patient_\d+", n).group()),
            ("devices (59 clips of 7 sources)", clips / "devices/videos", lambda n: source.get(n, n)))
    out += ["## On real clips", "", "The labels name no curtain and no dome from below; what was called one is looked at in `docs/diaphragm.md`.",
            "Development clips; intervals by drawing whole people (sources).", ""]
    lines = []
    with tempfile.TemporaryDirectory() as work:
        for i, (name, folder, group) in enumerate(sets):
            target = pathlib.Path(read[i] if read else pathlib.Path(work) / str(i))
            read or subprocess.run([program, "read", folder, "--out", target, "--workers", "1"], capture_output=True, check=True)
            rows = list(csv.DictReader(open(target / "readings.csv", newline="", encoding="utf-8")))
            groups = [group(pathlib.PurePath(r["clip"]).name) for r in rows]
            share = lambda key, word: by_group([r[key] == word for r in rows], groups)
            lines.append([name, share("curtain", "present"), share("curtain", "uncertain"), share("diaphragm", "present"),
                          by_group([r["diaphragm_thickness_mm"] != "" for r in rows], groups)])
    table(out, ["", "curtain present", "curtain left open", "dome present", "thickness stated"], lines)


def main():
    root = pathlib.Path(__file__).resolve().parent.parent
    parser = argparse.ArgumentParser()
    parser.add_argument("--build", default="build")
    parser.add_argument("--chests", type=int, default=40)
    parser.add_argument("--seed", type=int, default=7001)
    parser.add_argument("--seconds", type=float, default=10)
    parser.add_argument("--rows", nargs="*")
    parser.add_argument("--read", nargs=2, metavar="FOLDER", help="what `read` made of both sets of real clips, instead of reading them")
    args = parser.parse_args()
    loop = root / args.build / "tests/loop/diaphragm_loop"
    if args.rows:
        texts = [pathlib.Path(p).read_text(encoding="utf-8") for p in args.rows]
    else:
        run = lambda *more: subprocess.run([loop, str(args.chests), str(args.seed), str(args.seconds), *more], capture_output=True, text=True).stdout
        texts = [run()] + [run("--kind", "6", "--every", e) for e in ("2", "4", "8")]
    rows = [r for text in texts for r in csv.DictReader(io.StringIO(text)) if r["read"] == "1"]
    pace = {}
    for r in rows: # the whole clip is the fastest one of its chest
        pace[r["kind"], r["seed"]] = max(pace.get((r["kind"], r["seed"]), 0), number(r["frame_rate"]))
    whole = [r for r in rows if number(r["frame_rate"]) > 0.9 * pace[r["kind"], r["seed"]]]
    counts = {}
    for r in whole:
        counts[r["kind"]] = counts.get(r["kind"], 0) + 1
    out = ["# Diaphragm and curtain on simulated chests", "",
           f"Made by `scripts/diaphragm.py`: {len(whole)} invented chests by chance ({', '.join(f'{n} {k}' for k, n in counts.items())}), {args.seconds:.0f} s each at",
           "12 to 40 frames a second, three grades of difficulty by turns; seeds other than those the numbers in",
           "`src/reading/diaphragm_table.h` were chosen on. Pictures go to the reader without video coding. Simulated chests are no patients.",
           "Supports and does not replace a clinician's judgement. In brackets 95 % intervals (Wilson; areas by Hanley and McNeil).", ""]
    head = ["", "area of the index, present / absent", "present found", "absent found", "absent called present"]
    out += ["## The dome from below", "", "Against chests with lung, a lung's edge, free air; a dome that stands still is no error of either kind and left out.", ""]
    table(out, head, signs(whole, "diaphragm", "dome", ("slides", "lung point", "curtain", "base still")))
    amount = ["", "stated", "near, of those stated", "median error", "mean difference", "interval holds the truth"]
    out += ["### Excursion", "", "Near: within 1.5 mm of the way along the beam it was measured in. Millimetres.", ""]
    table(out, amount, amounts(whole, "diaphragm_excursion_mm", "beam_excursion_mm", lambda a, b: abs(a - b) <= 1.5, ("dome",)))
    out += ["### Speed", "", "Near: within 20 %. mm/s.", ""]
    table(out, amount, amounts(whole, "diaphragm_speed_mm_s", "true_diaphragm_speed_mm_s", lambda a, b: abs(a - b) <= 0.2 * b, ("dome",)))
    out += ["### Breathing rate", "", "Near: within 1 a minute.", ""]
    table(out, amount, amounts(whole, "breathing_rate", "true_breathing_rate", lambda a, b: abs(a - b) <= 1, ("dome",)))
    out += ["## Thickness on the wall", "", "Linear probe of 7 to 13 MHz. Near: within 0.3 mm.", ""]
    for key, name in (("diaphragm_thickness_mm", "End of expiration"), ("diaphragm_thickness_inspired_mm", "End of inspiration")):
        out += [f"### {name}", ""]
        table(out, amount, amounts(whole, key, f"true_{key}", lambda a, b: abs(a - b) <= 0.3, ("wall",)))
    out += ["### Thickening", "", "Near: within 10 points of per cent.", ""]
    table(out, amount, amounts(whole, "diaphragm_thickening", "true_diaphragm_thickening", lambda a, b: abs(a - b) <= 10, ("wall",)))
    other = [r for r in whole if r["kind"] in ("slides", "lung point", "dome", "dome still")]
    out += [f"Stated where there is none: {wilson(sum(r['diaphragm_thickness_mm_known'] == '1' for r in other), len(other))}.", ""]
    out += ["## The curtain", ""]
    table(out, head, signs(whole, "curtain", "curtain", NONE))
    out += ["### Travel of those found", "", "Near: within 4 mm of the way of the edge that lies in the picture.", ""]
    table(out, amount, amounts([r for r in whole if r["curtain_answer"] == "present"], "curtain_travel_mm", "true_curtain_travel_mm",
                               lambda a, b: abs(a - b) <= 4, ("curtain",)))
    out += ["## Frames left out", "", "The dome, every picture, every second, fourth and eighth.", ""]
    lines = []
    for low, high in ((24, 60), (12, 24), (6, 12), (3, 6), (0, 3)):
        part = [r for r in rows if r["kind"] == "dome" and low <= number(r["frame_rate"]) < high]
        stated = [r for r in part if r["diaphragm_excursion_mm_known"] == "1"]
        off = sum(abs(number(r["diaphragm_excursion_mm"]) - number(r["beam_excursion_mm"])) > max(1.5, 0.1 * number(r["beam_excursion_mm"])) for r in stated)
        lines.append([f"{low} to {high}", len(part), wilson(len(stated), len(part)), wilson(off, len(stated))])
    table(out, ["frames a second", "clips", "excursion stated", "off by more than 1.5 mm and 10 %, of those"], lines)
    real_clips(root, (root / args.build / "strandline").resolve(), args.read, out)
    (root / "docs" / "diaphragm-loop.md").write_text("\n".join(out).rstrip() + "\n", encoding="utf-8")
    print("\n".join(out))


if __name__ == "__main__":
    main()
