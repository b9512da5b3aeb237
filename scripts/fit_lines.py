#!/usr/bin/env python3
"""Fits the few learned numbers of src/reading/rules_table.h and states how well they do on people not fitted on.

    build/tests/tools/read_one ../shared/clips/videos/*.mp4 > signs.tsv
    scripts/fit_lines.py signs.tsv ../shared/clips/labels.csv > src/reading/rules_table.h
    scripts/fit_lines.py signs.tsv ../shared/clips/labels.csv unseen.csv areas.json > /dev/null

The second form also writes what each clip would read as with its own person left out of the fit, as a readings.csv for
`strandline evaluate`, and the areas by person (scripts/accuracy.py does that).

The signs (columns flicker, coherence, decay) are physical numbers that the program measures; the labels are
those of 114 clips of 21 people, one device (see ../shared/clips/README.md: development only). Logistic regression with a
ridge of 1 on standardised signs; figures by leaving people out of the fit; intervals by bootstrap over people with a
fixed seed. Answers come from leaving out one person at a time. Areas compare the clips of each pair of persons by a rule
fitted without either (Airola et al., Comput Stat Data Anal 2011;55:1828, doi 10.1016/j.csda.2010.11.018, for pairs of
cases): indices from different fits must not be ranked against each other, since whoever has many lines lowers the
intercept of the fit without them; pooled, that costs 0.02 here even where nothing but the intercept is fitted. Figures go to the standard error, the table to the standard output. Needs NumPy only."""
import csv
import json
import re
import sys

import numpy as np

SOURCE = "scripts/fit_lines.py on 114 labelled clips of 21 people, one device (COVID-BLUES, doi 10.1109/JBHI.2025.3543686)"
ANSWERED = 0.80  # share of the clips to be answered; the rest is "uncertain"


def load(signs_path, labels_path):
    signs = {}
    with open(signs_path, newline="") as file:
        for row in csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE):
            signs[row["clip"].rsplit(".", 1)[0]] = row
    clips = []
    with open(labels_path, newline="") as file:
        for row in csv.DictReader(file):
            sign = signs.get(row["video_file"])
            if sign is None or sign["state"] != "read":
                print(f"left out: {row['video_file']} was not read", file=sys.stderr)
                continue
            number = {k: float(sign[k]) for k in ("flicker", "coherence", "decay")}
            if not all(np.isfinite(v) for v in number.values()):
                print(f"left out: {row['video_file']} has a sign that was not measured", file=sys.stderr)
                continue
            number["ln_flicker"] = np.log(max(number["flicker"], 0) + 0.02)
            number["ln_decay"] = np.log(max(number["decay"], 0) + 0.02)
            clips.append(dict(number, clip=sign["clip"], person=re.match(r"patient_(\d+)", row["video_file"]).group(1),
                              a=row["A-lines"] == "yes", b=row["B-lines"] == "yes",
                              score=int(float(row["Severity Score"]))))
    return clips


def logistic(x, y, ridge=1.0):
    """Newton steps on standardised x; returns intercept and weights for x as it is."""
    mean, sd = x.mean(0), x.std(0) + 1e-12
    z = np.column_stack([np.ones(len(x)), (x - mean) / sd])
    penalty = np.diag([0.0] + [ridge] * x.shape[1])
    w = np.zeros(z.shape[1])
    for _ in range(50):
        p = 1 / (1 + np.exp(-z @ w))
        step = np.linalg.solve(z.T @ (z * (p * (1 - p))[:, None]) + penalty, z.T @ (y - p) - penalty @ w)
        w += step
        if np.abs(step).max() < 1e-10:
            break
    weight = w[1:] / sd
    return w[0] - mean @ weight, weight


def line(x, y, ridge=3.0):
    mean, sd = x.mean(0), x.std(0) + 1e-12
    z = (x - mean) / sd
    w = np.linalg.solve(z.T @ z + ridge * np.eye(x.shape[1]), z.T @ (y - y.mean())) / sd
    return y.mean() - mean @ w, w


def area(y, x):
    d = x[y][:, None] - x[~y][None, :]
    return (d > 0).mean() + 0.5 * (d == 0).mean()


def kappa(y, q):
    table = np.zeros((4, 4))
    np.add.at(table, (y, q), 1)
    weight = (np.arange(4)[:, None] - np.arange(4)[None, :]) ** 2
    expected = table.sum(1)[:, None] * table.sum(0)[None, :] / table.sum()
    return 1 - (weight * table).sum() / (weight * expected).sum()


def interval(person, statistic, *arrays):
    rng = np.random.default_rng(20)
    people = np.unique(person)
    where = {p: np.flatnonzero(person == p) for p in people}
    drawn = []
    for _ in range(2000):
        index = np.concatenate([where[p] for p in rng.choice(people, len(people))])
        try:
            drawn.append(statistic(*(a[index] for a in arrays)))
        except (ZeroDivisionError, FloatingPointError):
            pass
    return np.nanpercentile(drawn, [2.5, 97.5])


def leave_one_out(x, y, person, fit):
    out = np.zeros(len(y))
    for p in np.unique(person):
        train = person != p
        intercept, weight = fit(x[train], y[train])
        out[~train] = intercept + x[~train] @ weight
    return out


def paired_area(x, y, person, fit):
    """Area from pairs of persons, each pair ranked by a fit without both; and its interval by bootstrap over people."""
    people = np.unique(person)
    won, pairs = np.zeros((len(people), len(people))), np.zeros((len(people), len(people)))
    for i, p in enumerate(people):
        for k, q in enumerate(people[: i + 1]):
            _, weight = fit(x[(person != p) & (person != q)], y[(person != p) & (person != q)])
            level = x @ weight
            for a, b, at in ((p, q, (i, k)), (q, p, (k, i)))[: 1 if p == q else 2]:
                d = level[(person == a) & y][:, None] - level[(person == b) & ~y][None, :]
                won[at], pairs[at] = (d > 0).sum() + 0.5 * (d == 0).sum(), d.size
    rng = np.random.default_rng(20)
    drawn = []
    for _ in range(2000):
        times = np.bincount(rng.integers(len(people), size=len(people)), minlength=len(people))
        if times @ pairs @ times > 0:
            drawn.append((times @ won @ times) / (times @ pairs @ times))
    low, high = np.percentile(drawn, [2.5, 97.5])
    return won.sum() / pairs.sum(), low, high


def band(index):
    """Widest agreement: the band about 0.5, in log odds, that leaves 1 - ANSWERED of the clips inside."""
    odds = np.abs(np.log(index / (1 - index)))
    half = np.quantile(odds, 1 - ANSWERED)
    return 1 / (1 + np.exp(half)), 1 / (1 + np.exp(-half))


areas = {}  # by rule, for the figures


def rule(name, terms, clips, y, person):
    x = np.array([[c[t] for t in terms] for c in clips])
    intercept, weight = logistic(x, y)
    seen, unseen = intercept + x @ weight, leave_one_out(x, y, person, logistic)
    index = 1 / (1 + np.exp(-unseen))
    low, high = band(index)
    answered = (index < low) | (index > high)
    right = ((index > 0.5) == y)[answered].mean()
    by_person, a, b = paired_area(x, y, person, logistic)
    areas[name] = dict(area=by_person, low=a, high=b, pooled=area(y, unseen), seen=area(y, seen))
    print(f"{name}: area {by_person:.3f} ({a:.2f} to {b:.2f}) by person, {area(y, unseen):.3f} pooled, {area(y, seen):.3f} "
          f"in-sample; answered {answered.mean():.2f}, right {right:.3f}; Brier {np.mean((index - y) ** 2):.3f}", file=sys.stderr)
    padded = [f"{w:.4f}" for w in weight] + ["0"] * (4 - len(weight))
    print(f"/* terms: {', '.join(terms)}; area by person {by_person:.2f} ({a:.2f} to {b:.2f}), "
          f"in-sample {area(y, seen):.2f};\n * of {answered.mean():.0%} answered {right:.0%} right */")
    print(f"static const sl_answer_rule {name} = {{{intercept:.4f}, {{{', '.join(padded)}}}, {low:.3f}, {high:.3f}}};\n")
    return [(f"{i:.6f}", "present" if i > high else "absent" if i < low else "uncertain") for i in index]


def cuts(level, y):
    return np.quantile(level, np.cumsum(np.bincount(y, minlength=4) / len(y))[:3])


def score(terms, clips, person):
    x = np.array([[c[t] for t in terms] for c in clips])
    y = np.array([c["score"] for c in clips])
    unseen, level = np.zeros(len(y), int), np.zeros(len(y))
    for p in np.unique(person):
        train = person != p
        intercept, weight = line(x[train], y[train])
        cut = cuts(intercept + x[train] @ weight, y[train])
        level[~train] = intercept + x[~train] @ weight
        unseen[~train] = np.searchsorted(cut, level[~train])
    intercept, weight = line(x, y)
    cut = cuts(intercept + x @ weight, y)
    # How far the level may be off: its own error is small against that of four levels pressed into its narrow range,
    # so the spread is taken in the level's units as the step that holds the label in 80 % of the clips.
    spread = next(s for s in np.arange(0.05, 3, 0.01)
                  if np.mean((np.searchsorted(cut, level - s) <= y) & (y <= np.searchsorted(cut, level + s))) >= 0.8)
    a, b = interval(person, kappa, y, unseen)
    print(f"score: quadratic kappa {kappa(y, unseen):.3f} ({a:.2f} to {b:.2f}) by person, "
          f"{kappa(y, np.searchsorted(cut, intercept + x @ weight)):.3f} in-sample; right {np.mean(unseen == y):.2f}",
          file=sys.stderr)
    print(f"/* terms: {', '.join(terms)}; quadratic kappa by person {kappa(y, unseen):.2f} ({a:.2f} to {b:.2f});\n"
          f" * `spread` holds the label in 80 % of the clips */")
    print(f"static const sl_score_line score_line = {{{intercept:.4f}, {{{', '.join(f'{w:.4f}' for w in weight)}}}, "
          f"{{{', '.join(f'{c:.4f}' for c in cut)}}}, {spread:.2f}, {np.mean(unseen == y):.2f}}};\n")
    return unseen


def main():
    if len(sys.argv) not in (3, 5):
        sys.exit(__doc__)
    clips = load(sys.argv[1], sys.argv[2])
    person = np.array([c["person"] for c in clips])
    print(f"""/* The few learned numbers: logistic weights, the thresholds of the three-way answers, the score's line and cuts.
 * Made by {SOURCE}.
 * Figures by leaving one person out at a time; intervals by bootstrap over people. */
#ifndef SL_READING_RULES_TABLE_H
#define SL_READING_RULES_TABLE_H

#include "reading/answer.h"

typedef struct sl_score_line {{
    double intercept, weight[3], cut[3];
    double spread; /* of the level about the label */
    double right;  /* share of the clips whose label equals the value, by person */
}} sl_score_line;
""")
    a_lines = rule("a_line_rule", ["coherence", "ln_decay"], clips, np.array([c["a"] for c in clips]), person)
    b_lines = rule("b_line_rule", ["ln_flicker"], clips, np.array([c["b"] for c in clips]), person)
    white = rule("white_lung_rule", ["ln_flicker", "coherence", "ln_decay"], clips,
                 np.array([c["score"] == 3 for c in clips]), person)
    levels = score(["ln_flicker", "coherence", "ln_decay"], clips, person)
    print("#endif")
    if len(sys.argv) == 5:
        with open(sys.argv[4], "w") as file:
            json.dump(areas, file, indent=1)
        with open(sys.argv[3], "w", newline="") as file:
            out = csv.writer(file)
            out.writerow(["clip", "status", "a_line_index", "a_lines", "b_line_index", "b_lines",
                          "white_lung_index", "white_lung", "score"])
            for clip, a, b, w, level in zip(clips, a_lines, b_lines, white, levels):
                out.writerow([clip["clip"], "read", *a, *b, *w, level])


if __name__ == "__main__":
    main()
