#!/usr/bin/env python3
"""Fits the weights of the pleural line (src/reading/pleura_weights.h) and states how well the line does on people not
fitted on.

    ninja -C build
    scripts/fit_pleura.py [--clips ../shared/clips] [--build build] [--write] [--figures docs/accuracy-pleura.md]

Which row of a beam is the line: a conditional logit over the signs that the program itself computes (through
build/tests/tools/libpleura_fit.so), with a ridge on standardised signs, fitted to the points marked by eye (high and
medium confidence) in the clips and in damaged copies of them. Figures are cross-validated: seven folds of the first set by
person; the clips of many devices by weights fitted on the first set alone. Intervals by bootstrap over people and sources.
The probability that the line is right is fitted by fit_scene.py.

The clips are straightened into a temporary folder that is deleted; nothing of them is kept but the weights.
Needs NumPy, SciPy and OpenCV (tests/requirements.txt)."""
import argparse
import csv
import ctypes
import json
import pathlib
import re
import subprocess
import sys
import tempfile

import cv2
import numpy as np
from scipy.optimize import minimize

BEAMS, DEPTHS = 128, 256
RIDGE = 10.0      # 1 to 10 read alike
FOLDS = 7
NEAR = 0.03       # of the picture's height: the line counts as right
TOLERANCE = 2.5   # rows about a marked point that count as the line when fitting
MIDDLE = 6        # frames each side of the middle one whose mean the points were marked on, about

SIGNS = ["PLEURA_LEVEL", "PLEURA_LAYERS", "PLEURA_TEXTURE", "PLEURA_CHANGE", "PLEURA_SHARE", "PLEURA_RIVAL_UP",
         "PLEURA_RIVAL_DOWN", "PLEURA_COLUMNS", "PLEURA_COLUMNS_UP", "PLEURA_DEPTH", "PLEURA_DEPTH_SQUARED",
         "PLEURA_ONSET"]


def pointer(array):
    return None if array is None else array.ctypes.data_as(ctypes.c_void_p)


class Reader:
    """The program's own code."""

    def __init__(self, build):
        self.straighten = build / "tests/tools/straighten"
        self.lib = ctypes.CDLL(str(build / "tests/tools/libpleura_fit.so"))
        self.signs = self.lib.pleura_fit_signs()
        assert self.signs == len(SIGNS), "SIGNS above must list the enum of pleura_cells.h"
        first, last = ctypes.c_int(), ctypes.c_int()
        self.lib.pleura_fit_rows(ctypes.byref(first), ctypes.byref(last))
        self.rows = np.arange(first.value, last.value + 1)

    def cells(self, picture, change, mean, mask):
        out = np.zeros((len(self.rows), BEAMS, self.signs), np.float32)
        good = self.lib.pleura_fit_cells(*(pointer(a) for a in (picture, change, mean, mask, out)))
        return out if good else None

    def line(self, clip, weight, cells=None, mask=None):
        """Rows in the middle frame, depth, clearness, rows of the clip's line."""
        cells = np.ascontiguousarray(clip.cells if cells is None else cells)
        mask = np.ascontiguousarray(clip.mask if mask is None else mask).astype(np.uint8)
        weight = np.asarray(weight, np.float32)
        line, middle, kind = np.zeros(BEAMS, np.float32), np.zeros(BEAMS, np.float32), np.zeros(BEAMS, np.uint8)
        found = np.zeros(10)
        self.lib.pleura_fit_line(pointer(cells), pointer(mask), len(cells), ctypes.c_double(clip.frame_s),
                                 int(clip.view["shape"] == "linear"), int(clip.view["face_visible"]),
                                 min(clip.middle, len(cells) - 1), pointer(weight), pointer(line), pointer(middle),
                                 pointer(kind), pointer(found))
        self.shown, self.scene = found[3], found[4:10].copy()
        return middle, found[2], found[1], line


class Clip:
    def __init__(self, marked, clips, reader, folder, sources):
        path = clips / marked["clip"]
        out = pathlib.Path(folder) / "clip.npy"
        run = subprocess.run([reader.straighten, path, out], capture_output=True, text=True)
        if run.returncode:
            raise ValueError(f"{path.name}: {run.stderr.strip()}")
        about = json.loads(out.with_suffix(".json").read_text())
        self.cells, self.view = np.load(out), about["view"]
        self.frame_s = about["frame_s"] if about["times_known"] else 0.0
        source = np.array(about["source"])
        self.middle = int(np.argmin(np.abs(source - (source[-1] + 1) / 2)))
        self.name, self.height, self.points = path.name, marked["height"], marked["points"]
        self.confidence = marked["confidence"]
        person = re.match(r"patient_(\d+)", path.name)
        self.group = "person " + person.group(1) if person else "source " + sources[path.name]
        self.first_set = person is not None
        beam, depth = np.meshgrid((np.arange(BEAMS) + 0.5) / BEAMS, (np.arange(DEPTHS) + 0.5) / DEPTHS)
        x, y = self.pixel(beam, depth)
        self.mask = (x >= 0) & (y >= 0) & (x <= self.view["width"] - 1) & (y <= self.view["height"] - 1)

    def pixel(self, beam, depth):
        v = self.view
        if v["shape"] == "linear":
            return v["first_x"] + beam * (v["last_x"] - v["first_x"]), v["near_y"] + depth * (v["far_y"] - v["near_y"])
        angle = v["first_angle"] + beam * (v["last_angle"] - v["first_angle"])
        r = v["near_r"] + depth * (v["far_r"] - v["near_r"])
        return v["apex_x"] + r * np.sin(angle), v["apex_y"] + r * np.cos(angle) / v["aspect"]

    def cell(self, x, y):
        """Beam and row of a pixel."""
        v = self.view
        if v["shape"] == "linear":
            beam, depth = (x - v["first_x"]) / (v["last_x"] - v["first_x"]), (y - v["near_y"]) / (v["far_y"] - v["near_y"])
        else:
            dx, dy = x - v["apex_x"], (y - v["apex_y"]) * v["aspect"]
            beam = (np.arctan2(dx, dy) - v["first_angle"]) / (v["last_angle"] - v["first_angle"])
            depth = (np.hypot(dx, dy) - v["near_r"]) / (v["far_r"] - v["near_r"])
        return beam * BEAMS - 0.5, depth * DEPTHS - 0.5

    def errors(self, rows):
        """Of the marked points, as a share of the picture's height; NAN where there is no line."""
        x, y = self.pixel((np.arange(BEAMS) + 0.5) / BEAMS, (rows + 0.5) / DEPTHS)
        there = np.isfinite(y)
        if there.sum() < 3:
            return [np.nan] * len(self.points)
        order = np.argsort(x[there])
        return [(np.interp(px, x[there][order], y[there][order]) - py) / self.height for px, py in self.points]


# Damage: each gives cells, mask, and new row -> old row.
def depth_cut(share):
    def cut(cells, mask):
        rows = int(DEPTHS * share)
        new = np.stack([cv2.resize(f[:rows], (BEAMS, DEPTHS)) for f in cells])
        return new, cv2.resize(mask[:rows].astype(np.uint8), (BEAMS, DEPTHS), interpolation=cv2.INTER_NEAREST) > 0, share
    return cut


def deeper(cells, mask):
    rows, random = int(DEPTHS * 0.7), np.random.default_rng(0)
    new = np.clip(random.normal(6, 3, cells.shape), 0, 255).astype(np.uint8)
    new[:, :rows] = [cv2.resize(f, (BEAMS, rows), interpolation=cv2.INTER_AREA) for f in cells]
    whole = np.ones_like(mask)
    whole[:rows] = cv2.resize(mask.astype(np.uint8), (BEAMS, rows), interpolation=cv2.INTER_NEAREST) > 0
    return new, whole, 1 / 0.7


def grey(curve):
    table = np.round((np.arange(256) / 255.0) ** curve * 255).astype(np.uint8)
    return lambda cells, mask: (table[cells], mask, 1.0)


def noise(sd):
    def add(cells, mask):
        new = np.clip(cells + np.random.default_rng(0).normal(0, sd, cells.shape), 0, 255).astype(np.uint8)
        new[:, ~mask] = 0
        return new, mask, 1.0
    return add


def each(change):
    return lambda cells, mask: (np.stack([change(f) for f in cells]), mask, 1.0)


def encoded(frame):
    return cv2.imdecode(cv2.imencode(".jpg", frame, [cv2.IMWRITE_JPEG_QUALITY, 25])[1], 0)


DAMAGE = {
    "as it is": lambda cells, mask: (cells, mask, 1.0),
    "grey curve 0.7": grey(0.7), "grey curve 1.4": grey(1.4), "noise, sd 5 grey levels": noise(5),
    "blurred": each(lambda f: cv2.GaussianBlur(f, (0, 0), 1.2)), "encoded anew, strong": each(encoded),
    "nearest 70 % of the depth": depth_cut(0.7), "nearest 50 % of the depth": depth_cut(0.5), "imaged 1.4 times as deep": deeper,
    "every third frame": lambda cells, mask: (cells[::3], mask, 1.0),
    "one frame": lambda cells, mask: (cells[len(cells) // 2:len(cells) // 2 + 1], mask, 1.0),
}


def carried_on(picture, mask):
    """As carry_on() of pleura.c."""
    picture = picture.astype(np.float32)
    for j in range(BEAMS):
        inside = np.flatnonzero(mask[:, j])
        if len(inside):
            picture[:inside[0], j], picture[inside[-1] + 1:, j] = picture[inside[0], j], picture[inside[-1], j]
    return np.ascontiguousarray(picture)


def samples(reader, clips):
    """Beams with a marked point: signs [n, rows, signs], which rows are the line, group."""
    x, y, group = [], [], []
    for clip in clips:
        if clip.confidence == "low":
            continue
        for name, damage in DAMAGE.items():
            cells, mask, scale = damage(clip.cells, clip.mask)
            frames = cells.astype(np.float32)
            middle = clip.middle // 3 if name == "every third frame" else min(clip.middle, len(cells) - 1)
            mean = np.ascontiguousarray(frames.mean(0))
            change = carried_on(np.abs(np.diff(frames, axis=0)).mean(0), mask) if len(frames) > 1 else None
            windows = [mean] if len(frames) < 2 else [frames[max(0, middle - MIDDLE):middle + MIDDLE].mean(0), mean]
            for picture in windows:
                sign = reader.cells(carried_on(picture, mask), change, mean, np.ascontiguousarray(mask.astype(np.uint8)))
                if sign is None:
                    continue
                for px, py in clip.points:
                    beam, row = clip.cell(px, py)
                    row = (row + 0.5) / scale - 0.5
                    for j in (-1, 0, 1) if name == "as it is" else (0,):
                        j += int(round(beam))
                        line = np.abs(reader.rows - row) <= TOLERANCE / min(scale, 1)
                        if 0 <= j < BEAMS and reader.rows[0] <= row <= reader.rows[-1]:
                            line &= mask[reader.rows, j]
                            if line.any():
                                x.append(sign[:, j])
                                y.append(line)
                                group.append(clip.group)
    return np.array(x), np.array(y), np.array(group)


def fit(x, y):
    flat = x.reshape(-1, x.shape[-1])
    mean, sd = flat.mean(0), flat.std(0) + 1e-6
    z = (x - mean) / sd

    def loss(w):
        s = z @ w
        s -= s.max(1, keepdims=True)
        p = np.exp(s)
        p /= p.sum(1, keepdims=True)
        q = p * y
        total = q.sum(1, keepdims=True) + 1e-12
        slope = ((q / total - p)[..., None] * z).sum((0, 1))
        return -np.log(total).sum() / 3 + RIDGE * (w @ w) / 2, -slope / 3 + RIDGE * w

    return minimize(loss, np.zeros(x.shape[-1]), jac=True, method="L-BFGS-B").x / sd


def fold_weights(x, y, group, clips):
    """Weights for each group from others only; for the devices from the first set."""
    people = sorted({c.group for c in clips if c.first_set})
    np.random.default_rng(0).shuffle(people)
    weight = {}
    first = np.array([g.startswith("person") for g in group])
    for k in range(FOLDS):
        out = people[k::FOLDS]
        keep = ~np.isin(group, out)
        w = fit(x[keep], y[keep])
        weight.update({g: w for g in out})
    w = fit(x[first], y[first])
    weight.update({c.group: w for c in clips if not c.first_set})
    return weight


def share(right, group):
    """Share and 95 % interval by bootstrap over groups."""
    random, groups = np.random.default_rng(1), sorted(set(group))
    by = {g: np.array([r for r, h in zip(right, group) if h == g]) for g in groups}
    again = [np.concatenate([by[g] for g in random.choice(groups, len(groups))]).mean() for _ in range(4000)]
    return float(np.mean(right)), *np.quantile(again, [0.025, 0.975])


def evaluate(reader, clips, weight):
    """Table rows: damage, then for each set the share of the points within NEAR and its interval."""
    rows, depth = [], {}
    for name, damage in DAMAGE.items():
        right = {True: ([], []), False: ([], [])}
        same = []
        for clip in clips:
            if clip.confidence == "low":
                continue
            cells, mask, scale = damage(clip.cells, clip.mask)
            middle, here, _, _ = reader.line(clip, weight[clip.group], cells, mask)
            for error in clip.errors((middle + 0.5) * scale - 0.5):
                right[clip.first_set][0].append(abs(error) <= NEAR)
                right[clip.first_set][1].append(clip.group)
            here *= scale
            same.append(abs(here - depth.setdefault(clip.name, here)) <= 0.02)
        rows.append((name, *(share(*right[first]) + (len(right[first][0]),) for first in (True, False)), np.mean(same)))
    return rows


def header(weight, people, sources, points):
    text = ["/* Made by scripts/fit_pleura.py; do not edit.",
            " *",
            " * Weights of the signs of the pleural line: a conditional logit with a ridge (which of a beam's rows is the line),",
            f" * fitted to {points} points marked by eye in clips of {people} people (one device; COVID-BLUES,",
            f" * doi 10.1109/JBHI.2025.3543686) and {sources} sources of other devices (doi 10.3390/app11020672), and in damaged",
            " * copies of them. How well it does on people not fitted on: docs/accuracy-pleura.md. */",
            "#ifndef SL_READING_PLEURA_WEIGHTS_H", "#define SL_READING_PLEURA_WEIGHTS_H", "",
            '#include "reading/pleura_cells.h"', "", "static const float pleura_weight[PLEURA_SIGNS] = {"]
    text += [f"    [{name}] = {value:.4f}f," for name, value in zip(SIGNS, weight)]
    return "\n".join(text + ["};", "", "#endif", ""])


def figures(rows, counts):
    text = ["# The pleural line: accuracy", "",
            "Made by `scripts/fit_pleura.py --figures`; clips of ../shared/clips (development; not in the project). Share of the",
            f"points marked by eye (high and medium confidence) whose line lies within {NEAR:.0%} of the picture's height, with",
            "95 % intervals by bootstrap over people or sources. First set: one device, seven folds by person. Devices: weights",
            "fitted on the first set alone. The numbers of the tables marked \"tried\" were chosen while looking at these clips, so",
            "the figures are a little kind. A prototype that used brightness alone had 0.71 to 0.81 on the first set.", "",
            f"Points: {counts[0]} of {counts[1]} people; {counts[2]} of {counts[3]} sources.", "",
            "| clips | first set | other devices | depth within 2 % of the undamaged clip's |", "| --- | --- | --- | --- |"]
    for name, first, other, same in rows:
        text.append(f"| {name} | {first[0]:.2f} ({first[1]:.2f}-{first[2]:.2f}) | {other[0]:.2f} ({other[1]:.2f}-{other[2]:.2f}) "
                    f"| {same:.2f} |")
    text += ["", "How far the stated probability can be believed, and how a picture without a pleura is told: docs/accuracy-zoom.md.", "",
             "What falls short: with fluid between the walls the line of the lung below it is usually taken (on simulated chests most",
             "errors over 3 mm); single pictures and pictures whose chest wall fills half of the depth are read less well.", ""]
    return "\n".join(text)


ROOT = pathlib.Path(__file__).resolve().parent.parent


def parser_of(text):
    """What every fit on the marked clips is asked."""
    parser = argparse.ArgumentParser(description=text.split("\n\n")[0])
    parser.add_argument("--clips", type=pathlib.Path, default=ROOT / "../shared/clips")
    parser.add_argument("--build", type=pathlib.Path, default=ROOT / "build")
    parser.add_argument("--figures", type=pathlib.Path, help="write the figures there (else to the terminal)")
    return parser


def clips_there(options):
    there = (options.clips / "pleura_by_eye.json").exists()
    if not there:
        print(f"skipped: no clips in {options.clips}", file=sys.stderr)
    return there


def main():
    parser = parser_of(__doc__)
    parser.add_argument("--write", action="store_true", help="write src/reading/pleura_weights.h")
    parser.add_argument("--numbers", type=pathlib.Path, help="write share, interval and points of whole clips there as JSON")
    options = parser.parse_args()
    if not clips_there(options):
        return 77
    reader = Reader(options.build.resolve())
    with open(options.clips / "devices/labels.csv", newline="") as file:
        sources = {row["clip"]: row["source"] for row in csv.DictReader(file)}
    clips = []
    with tempfile.TemporaryDirectory() as folder:
        for marked in json.loads((options.clips / "pleura_by_eye.json").read_text()):
            try:
                clips.append(Clip(marked, options.clips, reader, folder, sources))
            except ValueError as error:
                print(f"left out: {error}", file=sys.stderr)
    x, y, group = samples(reader, clips)
    weight = fold_weights(x, y, group, clips)
    rows = evaluate(reader, clips, weight)
    used = [c for c in clips if c.confidence != "low"]
    counts = [n for first in (True, False) for n in (sum(len(c.points) for c in used if c.first_set == first),
                                                     len({c.group for c in used if c.first_set == first}))]
    text = figures(rows, counts)
    if options.figures:
        options.figures.write_text(text)
    else:
        print(text)
    if options.numbers:
        _, first, other, _ = rows[0]
        options.numbers.write_text(json.dumps({"one_device": first, "devices": other}))
    if options.write:
        path = ROOT / "src/reading/pleura_weights.h"
        path.write_text(header(fit(x, y), counts[1], counts[3], counts[0] + counts[2]))
    return 0


if __name__ == "__main__":
    sys.exit(main())
