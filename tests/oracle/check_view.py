"""Straightened frames of drawn pictures against OpenCV (remap, bilinear) and SciPy (map_coordinates, order 1) within
one grey level, the view itself against the drawn truth; and, where the real clips are present, that nearly all of them give
a view. Arguments: the tool built from tests/tools/straighten.c, the folder of the clips.
Exits 77 (skipped) when a library is not installed."""
import glob
import json
import os
import subprocess
import sys
import tempfile

try:
    import cv2
    import numpy as np
    from scipy.ndimage import gaussian_filter, map_coordinates
except ImportError as error:
    print(f"skipped: {error}; ./check installs tests/requirements.txt")
    sys.exit(77)

tool, clips = sys.argv[1:3]
BEAMS, DEPTHS = 128, 256
failures = 0


def check(true, what):
    global failures
    if not true:
        failures += 1
        print(f"failed: {what}")


def straighten(path, out):
    done = subprocess.run([tool, path, out + ".npy"], capture_output=True, text=True)
    if done.returncode:
        return None, done.stderr.strip()
    return np.load(out + ".npy"), json.load(open(out + ".json"))


def places(view):
    """Columns and rows of every cell, by the formula of standard scan conversion."""
    beam, depth = np.meshgrid((np.arange(BEAMS) + 0.5) / BEAMS, (np.arange(DEPTHS) + 0.5) / DEPTHS)
    if view["shape"] == "linear":
        return (view["first_x"] + beam * (view["last_x"] - view["first_x"]),
                view["near_y"] + depth * (view["far_y"] - view["near_y"]))
    angle = view["first_angle"] + beam * (view["last_angle"] - view["first_angle"])
    r = view["near_r"] + depth * (view["far_r"] - view["near_r"])
    return view["apex_x"] + r * np.sin(angle), view["apex_y"] + r * np.cos(angle) / view["aspect"]


def speckle(rng, beam, depth):
    field = gaussian_filter(rng.standard_normal((300, 90)), (1.0, 0.7))
    field = 90 * np.exp(-1.2 * np.linspace(0, 1, 300))[:, None] * (1 + 1.2 * field) + 20
    return np.clip(map_coordinates(field, [depth * 299, beam * 89], order=1, mode="nearest"), 12, 255)


def draw(rng, shape, width, height, truth):
    x, y = np.meshgrid(np.arange(width), np.arange(height))
    if shape == "linear":
        beam = (x - truth["first_x"]) / (truth["last_x"] - truth["first_x"])
        depth = (y - truth["near_y"]) / (truth["far_y"] - truth["near_y"])
    else:
        across, down = x - truth["apex_x"], y - truth["apex_y"]
        beam = (np.arctan2(across, down) + truth["half"]) / (2 * truth["half"])
        depth = (np.hypot(across, down) - truth["near_r"]) / (truth["far_r"] - truth["near_r"])
    inside = (beam >= 0) & (beam <= 1) & (depth >= 0) & (depth <= 1)
    return np.where(inside, speckle(rng, beam, depth), 0).round().astype(np.uint8)


rng = np.random.default_rng(3)
worst = 0
with tempfile.TemporaryDirectory() as folder:
    for n in range(12):
        shape = ("convex", "linear", "sector")[n % 3]
        width, height = int(rng.integers(260, 520)), int(rng.integers(260, 520))
        if shape == "linear":
            truth = dict(first_x=width * rng.uniform(0.05, 0.2), last_x=width * rng.uniform(0.75, 0.95),
                         near_y=height * rng.uniform(0.02, 0.1), far_y=height * rng.uniform(0.8, 0.97))
        else:
            near = 3 if shape == "sector" else height * rng.uniform(0.15, 0.4)
            half = rng.uniform(0.6, 0.75) if shape == "sector" else rng.uniform(0.45, 0.65)
            truth = dict(apex_x=width * rng.uniform(0.45, 0.55), half=half, near_r=near,
                         apex_y=8.0 if shape == "sector" else -near * np.cos(half) + 6, far_r=0)
            truth["far_r"] = height * 0.95 - truth["apex_y"]
        picture = draw(rng, shape, width, height, truth)
        path = os.path.join(folder, f"{shape}{n}.png")
        cv2.imwrite(path, picture)
        frames, about = straighten(path, os.path.join(folder, "out"))
        check(frames is not None, f"{shape} {n}: {about}")
        if frames is None:
            continue
        view = about["view"]
        check(view["shape"] == shape, f"{shape} {n}: found as {view['shape']}")
        column, row = places(view)
        inside = (column >= -0.5) & (column <= width - 0.5) & (row >= -0.5) & (row <= height - 0.5)
        column, row = column.clip(0, width - 1), row.clip(0, height - 1)
        by_cv = cv2.remap(picture, column.astype(np.float32), row.astype(np.float32), cv2.INTER_LINEAR,
                          borderMode=cv2.BORDER_REPLICATE).astype(int)
        by_scipy = map_coordinates(picture.astype(float), [row, column], order=1, mode="nearest")
        cells = frames[0].astype(int)
        # SciPy samples exactly. OpenCV 4 rounds coordinates to 1/32 pixel (up to 1/64 off on each axis), which at a steep
        # edge is worth that share of the grey levels around: that much is its own and is taken off.
        around = cv2.dilate(picture, np.ones((5, 5))).astype(int) - cv2.erode(picture, np.ones((5, 5)))
        own = around[np.rint(row).astype(int), np.rint(column).astype(int)] * 2 / 64
        for name, other, allowed in (("OpenCV", by_cv, own), ("SciPy", by_scipy, 0 * own)):
            off = (np.abs(cells - other) - allowed)[inside].max()
            worst = max(worst, off)
            check(off <= 1.0 + 1e-6, f"{shape} {n}: {off:.2f} grey levels from {name}")
        check((cells[~inside] == 0).all(), f"{shape} {n}: cells outside the picture are not 0")
        if shape == view["shape"]:
            for key, value in truth.items():
                found = (view["last_angle"] - view["first_angle"]) / 2 if key == "half" else view[key]
                tolerance = 0.01 if key == "half" else 2.0
                check(abs(found - value) <= tolerance, f"{shape} {n}: {key} {found:.3f}, drawn {value:.3f}")
    print(f"12 drawn pictures: at most {worst:.2f} grey levels from OpenCV and SciPy")

    videos = sorted(glob.glob(os.path.join(clips, "videos", "*")))
    devices = sorted(glob.glob(os.path.join(clips, "devices", "videos", "*")))
    if not videos:
        print(f"the real clips are not at {clips}: that part is skipped")
    for name, paths, least in (("one device", videos, 0.97), ("many devices", devices, 0.90)):
        good = 0
        for path in paths:
            frames, about = straighten(path, os.path.join(folder, "out"))
            # Not the eye's judgement (that is in docs/accuracy.md): a view, most of the frame lit, no clash.
            good += frames is not None and about["view"]["agreement"] >= 0.4 and (frames.max(0) > 0).mean() > 0.4
        if paths:
            print(f"{name}: {good} of {len(paths)} clips give a view")
            check(good >= least * len(paths), f"{name}: only {good} of {len(paths)}")
sys.exit(1 if failures else 0)
