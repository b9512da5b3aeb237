#!/usr/bin/env python3
"""Movement read on simulated chests whose truth is known: sliding, its amplitude, the lung pulse, the lung point, the breathing
rate, by difficulty; other chests at 50 frames a second and the same pictures at 25, 12 and 6; and how often the signs of a
pneumothorax are claimed on the real clips, of which none is known to show one. Writes docs/movement-loop.md. Standard library only.

    scripts/movement.py [--build build] [--chests 102] [--seed 50001] [--seconds 6] [--few 27] [--few-seed 70001] [--keep FOLDER]
                        [--workers 1] [--rows FILE.csv ...] [--few-rows FILE.csv ...] [--real FOLDER] [--only-few]

--chests are of each kind (slides, still, pulse, air, lung point), --few those of the part with frames left out. --keep keeps the rendered
chests for the next time. --rows and --few-rows take the tables of earlier runs instead; --real takes two readings.csv
(FOLDER/one-device.csv and FOLDER/devices.csv) instead of reading the clips. --only-few makes the part with frames left out anew and
leaves the rest of the document as it is."""
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
LAGS = ("lags", 10)  # sliding that comes before or after the chest's own movement; for the phase only (tests/loop/moving_chests.h)
# The chests from this seed on were looked at once before two numbers were moved: said wherever they are measured on.
LOOKED_AT_SEED = "50001"
LOOKED_AT = """, but for the pulse's limits and the amplitude's quantile, which were moved after one
look at these chests (0.86 and 0.77 before). The truth comes from the scenario (docs/simulator.md). Pictures go to the"""
FEW_HEAD = "## Frames left out"
LIMIT_SEED = "9500"
LIMIT_CHOSEN = """ That sliding, its amplitude and the lung point are left open below 8.3 frames a second was chosen after
these chests had been looked at: at 6.25, free air was read as sliding in 3 of 20, at the other rates in none. So the last row is not one of unseen chests."""
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
    return f"{good} of {of}, {p:.2f} ({max(centre - half, 0.0):.2f} to {min(centre + half, 1.0):.2f})"


def rank_area(yes, no):
    """Share of pairs in the right order, ties half (the area under the ROC curve)."""
    both = sorted([(x, 1) for x in yes] + [(x, 0) for x in no])
    ranks, i = 0.0, 0
    while i < len(both):
        k = i
        while k < len(both) and both[k][0] == both[i][0]:
            k += 1
        ranks += 0.5 * (i + 1 + k) * sum(flag for _, flag in both[i:k])
        i = k
    return (ranks - len(yes) * (len(yes) + 1) / 2) / (len(yes) * len(no))


def bounds(values):
    values = sorted(values)
    return f"{values[int(0.025 * len(values))]:.2f} to {values[int(0.975 * len(values))]:.2f}"


def area(rows, key, times=1000):
    """The area of an index and its 95 % interval by drawing whole chests with replacement."""
    yes = [number(r[key]) for r in rows if r[f"true_{key}_answer"] == "present" and not math.isnan(number(r[key]))]
    no = [number(r[key]) for r in rows if r[f"true_{key}_answer"] == "absent" and not math.isnan(number(r[key]))]
    if not yes or not no:
        return ""
    chance = random.Random(2)
    drawn = [rank_area(chance.choices(yes, k=len(yes)), chance.choices(no, k=len(no))) for _ in range(times)]
    return f"{rank_area(yes, no):.3f} ({bounds(drawn)}), {len(yes)} / {len(no)}"


def median_error(errors, times=1000):
    chance = random.Random(3)
    drawn = [statistics.median(chance.choices(errors, k=len(errors))) for _ in range(times)]
    return f"{statistics.median(errors):.2f} ({bounds(drawn)})"


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
    return [wilson(sum(near(a, b) for a, b, _, _ in pairs), len(pairs)), median_error([abs(a - b) for a, b, _, _ in pairs]),
            f"{statistics.mean(a - b for a, b, _, _ in pairs):+.2f}", wilson(sum(l <= b <= h for _, b, l, h in pairs), len(pairs))]


def phases(rows):
    """Stated, within 20 degrees, median error, interval holds: of angles, so that 359 is 1 away from 0."""
    stated = [r for r in rows if r["sliding_phase_known"] == "1"]
    turn = lambda degrees: math.remainder(degrees, 360)
    pairs = [(abs(turn(number(r["sliding_phase"]) - number(r["true_sliding_phase"]))), number(r["sliding_phase_high"]) - number(r["sliding_phase"]))
             for r in stated if r["true_sliding_phase_known"] == "1"]
    if not pairs:
        return [wilson(len(stated), len(rows)), "", "", ""]
    return [wilson(len(stated), len(rows)), wilson(sum(e <= 20 for e, _ in pairs), len(pairs)), median_error([e for e, _ in pairs]),
            wilson(sum(e <= half for e, half in pairs), len(pairs))]


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


def real_clips(root, program, given, out):
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
            "by drawing whole people (sources). On most of the 114 the lung point is left open, not denied: they are shorter than a whole breath.", ""]
    lines = []
    with tempfile.TemporaryDirectory() as work:
        for name, folder, group in sets:
            target = pathlib.Path(work) / "out"
            if given:
                table_file = pathlib.Path(given) / ("one-device.csv" if "one device" in name else "devices.csv")
            else:
                subprocess.run([program, "read", folder, "--out", target, "--workers", "1"], capture_output=True, check=True)
                table_file = target / "readings.csv"
            rows = list(csv.DictReader(open(table_file, newline="", encoding="utf-8")))
            groups = [group(pathlib.PurePath(r["clip"]).name) for r in rows]
            share = lambda key, word: by_group([r[key] == word for r in rows], groups)
            lines.append([name, share("sliding", "present"), share("sliding", "uncertain"), share("sliding", "absent"),
                          share("lung_pulse", "present"), share("lung_point", "present")])
            for file in sorted(target.rglob("*") if target.is_dir() else [], reverse=True):
                file.unlink() if file.is_file() else file.rmdir()
    table(out, ["", "sliding present", "left open", "sliding absent", "lung pulse", "lung point"], lines)


def frames_left_out(few):
    out = [FEW_HEAD, "",
            f"{sum(r['every'] == '1' for r in few)} other chests at 50 frames a second, and every second, fourth and eighth picture of the same. Wrong, of the answers that are given:",
            "not the truth; an amplitude off by more than 30 % and 1 mm; a rate off by more than 2 a minute. Open or not stated: the program says so itself,",
            "with the reason." + (LIMIT_CHOSEN if any(r["seed"] == LIMIT_SEED for r in few) else ""), ""]
    lines = []
    for rate in (50, 25, 12.5, 6.25):
        part = [r for r in few if r["read"] == "1" and abs(number(r["frame_rate"]) - rate) < 0.1]
        if not part:
            continue
        line = [f"{rate:g}"]
        for key in ("sliding", "lung_pulse", "lung_point"):
            given = [r for r in part if r[f"{key}_answer"] != "uncertain"]
            line += [wilson(sum(r[f"{key}_answer"] != r[f"true_{key}_answer"] for r in given), len(given)) or "none given",
                     f"{100 * sum(r[f'{key}_answer'] == 'uncertain' for r in part) / len(part):.0f} %"]
        slide = [r for r in part if r["kind"] == "slides"]
        for key, limit in (("sliding_amplitude_mm", lambda a, b: abs(a - b) > max(1, 0.3 * b)), ("breathing_rate", lambda a, b: abs(a - b) > 2)):
            stated = [r for r in slide if r[f"{key}_known"] == "1"]
            line += [wilson(sum(limit(number(r[key]), number(r[f"true_{key}"])) for r in stated), len(stated)) if stated else "none stated"]
        lines.append(line)
    table(out, ["frames a second", "sliding wrong", "open", "pulse wrong", "open", "lung point wrong", "open", "amplitude wrong, of those stated",
                "rate wrong, of those stated"], lines)
    return out


def table(out, head, lines):
    out += ["| " + " | ".join(head) + " |", "| --- |" + " --- |" * (len(head) - 1)]
    out += ["| " + " | ".join(str(c) for c in line) + " |" for line in lines] + [""]


def main():
    root = pathlib.Path(__file__).resolve().parent.parent
    parser = argparse.ArgumentParser()
    parser.add_argument("--build", default="build")
    parser.add_argument("--chests", type=int, default=102)
    parser.add_argument("--seed", type=int, default=50001)
    parser.add_argument("--seconds", type=float, default=6)
    parser.add_argument("--few", type=int, default=27)
    parser.add_argument("--few-seed", type=int, default=70001)
    parser.add_argument("--keep")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--rows", nargs="*")
    parser.add_argument("--few-rows", nargs="*")
    parser.add_argument("--real")
    parser.add_argument("--only-few", action="store_true")
    args = parser.parse_args()
    loop = root / args.build / "tests/loop/movement_loop"
    common = ["--workers", str(args.workers)] + (["--keep", args.keep] if args.keep else [])

    def run(count, seed, more, kinds=range(len(KINDS))):
        return [subprocess.run([loop, str(count), str(seed), str(args.seconds), "--kind", str(kind)] + more + common,
                               capture_output=True, text=True, check=True).stdout for kind in kinds]

    texts = [] if args.only_few else [pathlib.Path(p).read_text(encoding="utf-8") for p in args.rows] if args.rows else run(args.chests, args.seed, [])
    few_texts = ([pathlib.Path(p).read_text(encoding="utf-8") for p in args.few_rows] if args.few_rows
                 else run(args.few, args.few_seed, ["--rate", "50", "--decimate"]))
    parse = lambda some: [r for text in some for r in csv.DictReader(io.StringIO(text)) if r["kind"] in KINDS]
    rows, few = parse(texts), parse(few_texts)
    late = ([r for text in texts for r in csv.DictReader(io.StringIO(text)) if r["kind"] == LAGS[0] and r["read"] == "1"] if args.rows or args.only_few
            else list(csv.DictReader(io.StringIO(run(args.chests, args.seed, [], [LAGS[1]])[0]))))
    target = root / "docs" / "movement-loop.md"
    if args.only_few:
        kept = target.read_text(encoding="utf-8")
        part = "\n".join(frames_left_out(few)) + "\n"
        target.write_text(kept[:kept.index(FEW_HEAD)] + part + kept[kept.index("## On real clips"):], encoding="utf-8")
        print(part)
        return
    whole = [r for r in rows if r["every"] == "1"]
    read = [r for r in whole if r["read"] == "1"]
    parts = [("all", read)] + [(name, [r for r in read if r["grade"] == g]) for name, g in GRADES]
    counts = ", ".join(f"{sum(r['kind'] == k for r in whole)} {k}" for k in KINDS)
    out = ["# Movement on simulated chests", "",
           f"Made by `scripts/movement.py`: {len(whole)} invented chests by chance ({counts}), {args.seconds:.0f} s each, at 12 to 40",
           "frames a second, three grades of difficulty by turns; seeds other than those that the numbers in",
           "`src/reading/motion_table.h` were chosen on" + (LOOKED_AT if any(r["seed"] == LOOKED_AT_SEED for r in whole) else
           ". The truth comes from the scenario (docs/simulator.md). Pictures go to the"),
           "reader without video coding. Simulated chests are no patients. Supports and does not replace a clinician's judgement.", "",
           f"No view found or not read: {len(whole) - len(read)} of {len(whole)}; left out below. In brackets 95 % intervals: of shares by Wilson,",
           "each chest being one; of areas and medians by drawing whole chests with replacement. Wanted: sliding area 0.97; amplitude within",
           "20 % or 0.5 mm; pulse and lung point found with sensitivity and specificity 0.90; breathing rate within 1 a minute.", "",
           "## Sliding present or absent", "",
           "Sensitivity and specificity count an answer left open (`uncertain`) as wrong; the column after says how often absent chests",
           "were not called present. Two fifths of the chests that stand still or pulse hold their breath: there absence is the truth, and leaving it",
           "open is what is wanted (docs/movement.md).", ""]
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
    late = [r for r in late if r["read"] == "1"]
    out += ["## Phase of sliding with breathing", "",
            f"{len(late)} other chests whose lung comes by up to half a breath before or after the pleura's rise and fall, and those above that slide (with it, phase",
            "0 or 180). Near: within 20 degrees. The pleura rises by -0.3 to 1.2 mm; where by little, there is no reference.", ""]
    table(out, ["", "stated", "near, of those stated", "median error, degrees", "interval holds the truth"],
          [["lags"] + phases(late), *[["lags, " + name] + phases([r for r in late if r["grade"] == g]) for name, g in GRADES],
           ["slides"] + phases(slides[0][1]), ["no sliding"] + phases([r for r in read if r["true_sliding_answer"] == "absent"])])
    out += ["## Lung pulse", ""]
    table(out, head, [[name, area(part, "lung_pulse")] + answers(part, "lung_pulse") for name, part in parts])
    out += ["## Lung point", ""]
    table(out, head, [[name, area(part, "lung_point")] + answers(part, "lung_point") for name, part in parts])
    points = [r for r in read if r["kind"] == "lung point" and r["lung_point_answer"] == "present"]
    travel = amounts(points, "lung_point_travel_mm", lambda a, b: abs(a - b) <= 3)
    out += [f"Travel of those found: within 3 mm in {travel[0]}; median error {travel[1]} mm.", ""]
    out += frames_left_out(few)
    real_clips(root, (root / args.build / "strandline").resolve(), args.real, out)
    target.write_text("\n".join(out).rstrip() + "\n", encoding="utf-8")
    print("\n".join(out))


if __name__ == "__main__":
    main()
