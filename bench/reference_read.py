"""The steps of `strandline read` written with NumPy, SciPy, OpenCV, PyAV and Matplotlib: the general-purpose
counterpart of bench/bench_read.py. Written fairly: the fastest decoder at hand, whole arrays at once, no Python loop over
pixels (loops run over frames where a library wants one picture, over the 128 beams of the dynamic programming and over
lags). The numbers are those of src/reading/*_table.h, the steps those of src/reading/ and of the recipe for the fan; where
the C does more (its view finder tries many hypotheses) this does less, which favours this side.

    reference_read.py --out DIR [--no-report] [--workers N] CLIP...
"""
import argparse
import concurrent.futures
import csv
import pathlib
import time

import av
import cv2
import numpy as np
from scipy import ndimage

BEAMS, DEPTHS = 128, 256
f32 = np.float32


# ---- decode, view, straighten -----------------------------------------------------------------------------------


def decode(path):
    """Luma planes of all frames, and their times."""
    frames, times = [], []
    with av.open(str(path)) as box:
        stream = box.streams.video[0]
        stream.thread_type = "AUTO"
        for frame in box.decode(stream):
            if frame.format.name.startswith(("yuv", "nv12", "gray")) and "10" not in frame.format.name:
                plane = frame.planes[0]
                luma = np.frombuffer(plane, np.uint8).reshape(plane.height, plane.line_size)[:, : plane.width]
                if frame.color_range != 2 and not frame.format.name.startswith(("yuvj", "gray")):
                    luma = cv2.convertScaleAbs(luma, alpha=255 / 219, beta=-16 * 255 / 219)
                frames.append(luma.copy())
            else:
                frames.append(frame.to_ndarray(format="gray"))
            times.append(frame.time if frame.time is not None else np.nan)
    return np.stack(frames), np.array(times, float)


def edge_line(y, x):
    """x = a + b y, robust: least squares three times, leaving out what lies far off."""
    keep = np.ones(len(y), bool)
    for _ in range(3):
        b, a = np.polyfit(y[keep], x[keep], 1)
        off = np.abs(x - a - b * y)
        keep = off <= max(1.5, 2.5 * np.median(off[keep]))
    return a, b, np.sqrt(np.mean(off[keep] ** 2))


def find_view(frames):
    """A symmetric fan (apex, half angle, near and far radius) or a rectangle of parallel beams."""
    step = max(1, len(frames) // 64)
    most = frames[::step].max(axis=0)
    lit = (cv2.medianBlur(most, 3) > 6).astype(np.uint8)
    count, label, stats, _ = cv2.connectedComponentsWithStats(lit, connectivity=8)
    if count < 2:
        return None
    inside = label == 1 + np.argmax(stats[1:, cv2.CC_STAT_AREA])
    rows = np.flatnonzero(inside.any(axis=1))
    if len(rows) < 20:
        return None
    part = inside[rows]
    left, right = part.argmax(axis=1), part.shape[1] - 1 - part[:, ::-1].argmax(axis=1)
    height, width = inside.shape
    sides = []
    for x, ok in ((left, left > 1), (right, right < width - 2)):
        at = np.flatnonzero(ok[: int(0.9 * len(rows))])
        sides.append(edge_line(rows[at].astype(float), x[at].astype(float)) if len(at) > 15 else None)
    slopes = [s[1] for s in sides if s]
    if not slopes or max(abs(s) for s in slopes) < 0.05:
        return {"shape": "linear", "x0": float(np.median(left)), "x1": float(np.median(right)), "y0": float(rows[0]),
                "y1": float(rows[-1])}
    if sides[0] and sides[1]:
        (a, b, _), (c, d, _) = sides
        apex_y = (c - a) / (b - d) if abs(b - d) > 1e-6 else 0.0
        apex_x, half = a + b * apex_y, np.arctan(0.5 * (abs(b) + abs(d)))
    else:  # one edge: the other one mirrored about the picture's middle
        a, b, _ = sides[0] or sides[1]
        apex_x, half = width / 2, np.arctan(abs(b))
        apex_y = (apex_x - a) / b
    y, x = np.nonzero(inside[::2, ::2])
    r = np.hypot(2 * x - apex_x, 2 * y - apex_y)
    near, far = np.quantile(r, (0.001, 0.998))
    return {"shape": "convex", "x": apex_x, "y": apex_y, "half": half, "near": near, "far": far}


def straighten(frames, view):
    beam = (np.arange(BEAMS, dtype=f32) + 0.5) / BEAMS
    depth = ((np.arange(DEPTHS, dtype=f32) + 0.5) / DEPTHS)[:, None]
    if view["shape"] == "linear":
        x = np.broadcast_to(view["x0"] + beam * (view["x1"] - view["x0"]), (DEPTHS, BEAMS)).astype(f32)
        y = np.broadcast_to(view["y0"] + depth * (view["y1"] - view["y0"]), (DEPTHS, BEAMS)).astype(f32)
    else:
        angle, r = (2 * beam - 1) * view["half"], view["near"] + depth * (view["far"] - view["near"])
        x = (view["x"] + r * np.sin(angle)).astype(f32)
        y = (view["y"] + r * np.cos(angle)).astype(f32)
    height, width = frames.shape[1:]
    mask = (x >= 0) & (y >= 0) & (x <= width - 1) & (y <= height - 1)
    map1, map2 = cv2.convertMaps(x, y, cv2.CV_16SC2)
    cells = np.empty((len(frames), DEPTHS, BEAMS), np.uint8)
    for i, frame in enumerate(frames):
        cv2.remap(frame, map1, map2, cv2.INTER_LINEAR, dst=cells[i], borderMode=cv2.BORDER_CONSTANT)
    return cells, mask, x, y


def settle(cells, mask, times):
    """Leaves out black frames and copies."""
    level = cells.sum(axis=(1, 2), dtype=np.int64) / mask.sum()
    keep = np.flatnonzero(level >= 0.25 * np.median(level))
    cells = cells[keep]
    change = np.array([cv2.norm(a, b, cv2.NORM_L1) for a, b in zip(cells[1:], cells[:-1])]) / mask.sum()
    if len(change):
        fresh = np.concatenate([[True], change > 0.15 * np.quantile(change, 0.9)])
        cells, keep = cells[fresh], keep[fresh]
    return cells, times[keep], keep


# ---- the pleural line -------------------------------------------------------------------------------------------

FIRST, LAST = int(0.008 * DEPTHS), int(0.60 * DEPTHS)
WEIGHT = dict(level=0.1939, layers=-0.1674, texture=-2.5350, change=-2.9107, share=6.6653, rival_up=-0.3752,
              rival_down=-1.2627, columns=3.9790, columns_up=-1.4632, depth=0.0698, depth2=-10.4714, onset=9.1992)


def across(a, half):
    return ndimage.uniform_filter1d(a, 2 * half + 1, axis=-1, mode="nearest")


def running(a):
    out = np.zeros(a.shape[:-2] + (DEPTHS + 1, BEAMS), f32)
    np.cumsum(a, axis=-2, out=out[..., 1:, :])
    return out


def band(total, low, high):
    """Mean over rows i + low .. i + high - 1 of a running sum for every row i, cut off at the ends."""
    row = np.arange(DEPTHS)
    a = np.clip(row + low, 0, DEPTHS - 1)
    b = np.clip(np.maximum(row + high, a + 1), None, DEPTHS)
    return (total[..., b, :] - total[..., a, :]) / (b - a).astype(f32)[:, None]


def pleura_score(mean, change, level):
    """Log-likelihood of every cell of one or many pictures [..., DEPTHS, BEAMS]."""
    unit, f = f32(1 / level), f32(0.06)
    near, grey, wide = across(mean, 1) * unit, across(mean, 2) * unit, across(mean, 9) * unit
    pattern = (grey - wide) / (wide + f)
    total, total_pattern, total_pattern2 = running(grey), running(pattern), running(pattern * pattern)
    three = ndimage.correlate1d(near, [0.25, 0.5, 0.25], axis=-2, mode="nearest")
    texture = running(np.abs(three - ndimage.uniform_filter1d(near, 9, axis=-2, mode="nearest")))
    on, up, below = band(total, -1, 2), band(total, -24, -3), band(total, 4, 40)
    ridge = np.maximum(on - 0.5 * (band(total, -9, -3) + band(total, 4, 10)), 0)
    rival_up = np.zeros_like(ridge)
    rival_up[..., 6:, :] = np.maximum.accumulate(ridge[..., :-6, :], axis=-2)
    rival_down = np.zeros_like(ridge)
    size = [1] * (ridge.ndim - 2) + [53, 1]
    reach = ndimage.maximum_filter(ridge, size=size, mode="constant")
    rival_down[..., : DEPTHS - 33, :] = reach[..., 33:, :]
    tex_up, tex_below = band(texture, -28, -4), band(texture, 5, 40)
    log_level = np.log((up + f) / (below + f))
    log_texture = np.log((tex_below + f32(0.004)) / (below + f))

    def columns(low, high):
        return across(band(total_pattern, low, high) ** 2, 4) / (across(band(total_pattern2, low, high), 4) + f32(1e-3))

    depth = ((np.arange(DEPTHS, dtype=f32) + 0.5) / DEPTHS)[:, None]
    sign = dict(level=log_level, texture=log_texture, layers=np.log((tex_up + f32(0.004)) / (up + f)) - log_texture,
                share=on / (grey[..., FIRST : LAST + 1, :].max(axis=-2, keepdims=True) + f),
                rival_up=np.log((rival_up + f32(0.05)) / (ridge + f32(0.05))),
                rival_down=np.log((rival_down + f32(0.05)) / (ridge + f32(0.05))), depth=depth, depth2=depth * depth,
                onset=(band(total, 0, 3) - band(total, -4, -1)) / (on + up + f), columns=columns(6, 60),
                columns_up=columns(-28, -4))
    if change is not None:
        moved = running(across(change, 2) * unit)
        sign["change"] = np.log((band(moved, -24, -3) + f32(0.01)) / (band(moved, 4, 40) + f32(0.01))) - log_level
    score = sum(f32(WEIGHT[name]) * value for name, value in sign.items())[..., FIRST : LAST + 1, :]
    return np.maximum(score - score.max(axis=-2, keepdims=True), f32(-8)), grey


def best_lines(score, weight=None, towards=None):
    """Dynamic programming over beams for a whole batch [B, rows, BEAMS]: at most 5 rows a beam, 0.2 a row."""
    batch, rows, _ = score.shape
    own = score * (1 if weight is None else weight.astype(f32))
    if towards is not None:
        off = np.abs(np.arange(FIRST, LAST + 1, dtype=f32)[:, None] - towards)
        own = own - f32(0.05) * np.minimum(off, 12)
    came = np.empty((BEAMS, batch, rows), np.int8)
    padded = np.full((batch, rows + 10), f32(-1e30))
    padded[:, 5:-5] = own[:, :, 0]
    cost = (f32(0.2) * np.abs(np.arange(-5, 6))).astype(f32)
    for j in range(1, BEAMS):
        window = np.lib.stride_tricks.sliding_window_view(padded, 11, axis=1) - cost
        came[j] = window.argmax(axis=2) - 5
        padded[:, 5:-5] = window.max(axis=2) + own[:, :, j]
    line = np.empty((batch, BEAMS), int)
    line[:, -1] = padded[:, 5:-5].argmax(axis=1)
    every = np.arange(batch)
    for j in range(BEAMS - 1, 0, -1):
        line[:, j - 1] = line[:, j] + came[j][every, line[:, j]]
    return line + FIRST


def refine(line, grey):
    """To the brightest cell within two rows, then to a fraction of a cell by a parabola."""
    rows = np.clip(line[:, None, :] + np.arange(-2, 3)[:, None], 1, DEPTHS - 2)
    best = np.take_along_axis(rows, np.take_along_axis(grey, rows, 1).argmax(axis=1)[:, None], 1)
    a, b, c = (np.take_along_axis(grey, best + k, 1)[:, 0] for k in (-1, 0, 1))
    bend = a - 2 * b + c
    shift = np.where(bend < -1e-6, 0.5 * (a - c) / np.where(bend < -1e-6, bend, -1), 0)
    return (best[:, 0] + np.clip(shift, -0.5, 0.5)).astype(f32)


def classify(mean, mask, line):
    """0 space, 1 shadow, 2 no contact."""
    row, at = np.arange(DEPTHS)[:, None], np.round(line).astype(int)

    def column(low, high):
        use = mask & (row >= low) & (row <= high)
        return (mean * use).sum(axis=0) / np.maximum(use.sum(axis=0), 1)

    below, wall = ndimage.uniform_filter1d(column(at + 8, at + 72), 5, mode="nearest"), column(0 * at, at + 2)
    dark = below < 0.42 * np.quantile(below, 0.85)
    return np.where(dark & (wall < 0.25 * np.quantile(wall, 0.6)), 2, dark.astype(int))


def find_pleura(cells, mask, frame_s):
    frames = len(cells)
    total = np.zeros((frames + 1, DEPTHS, BEAMS), np.uint32)
    np.cumsum(cells, axis=0, dtype=np.uint32, out=total[1:])
    mean = total[-1] / f32(frames)
    moved = np.zeros((DEPTHS, BEAMS), f32)
    for a, b in zip(cells[1:], cells[:-1]):
        moved += cv2.absdiff(a, b)
    moved = moved / f32(frames - 1) if frames > 1 else None
    level = np.quantile(mean[:LAST][mask[:LAST]], 0.80) if mask[:LAST].any() else 0
    if level < 2:
        return None
    score, grey = pleura_score(mean, moved, level)
    line = best_lines(score[None])[0]
    weight = np.array([1, 0.25, 0.1])[classify(mean, mask, line)]
    line = best_lines(score[None], weight)
    line = refine(line, grey[None])[0]
    kind = classify(mean, mask, line)
    per = max(1, int(0.16 / frame_s + 0.5)) if frame_s > 0 else 4
    start = np.arange(0, frames, per)
    low, high = np.maximum(start - per, 0), np.minimum(start + 2 * per, frames)
    blocks = (total[high] - total[low]) / (high - low).astype(f32)[:, None, None]
    score, grey = pleura_score(blocks, moved, level)
    weight = np.array([1, 0.25, 0.1])[kind]
    rows = refine(best_lines(score, weight, line), grey)
    return {"line": line, "rows": rows, "kind": kind, "per": per, "total": total, "start": start, "mean": mean,
            "depth": float(np.median(rows[:, kind == 0]) + 0.5) / DEPTHS if (kind == 0).any() else np.nan}


# ---- B-lines and A-lines ----------------------------------------------------------------------------------------


def find_b_lines(cells, mask, kind, frame_s):
    edges = 102 + (243 - 102) * np.arange(10) // 9
    profile = np.add.reduceat(cells[:, :243], edges[:9], axis=1, dtype=f32)
    count = np.add.reduceat(mask[:243], edges[:9], axis=0, dtype=f32)
    profile /= np.maximum(count, 1)
    inside = (2 * count > np.diff(edges)[:, None]).all(axis=0)
    edge = ndimage.gaussian_filter1d(profile, 1.5, axis=-1) - ndimage.gaussian_filter1d(profile, 4.5, axis=-1)
    lag = max(1, int(0.12 / frame_s + 0.5)) if frame_s > 0 else 3
    index = np.nan
    if len(cells) > lag:
        a, b = edge[:-lag], edge[lag:]
        shifts = np.arange(-6, 7)
        cost = np.stack([((b[..., max(0, s) : BEAMS + min(0, s)] - a[..., max(0, -s) : BEAMS - max(0, s)]) ** 2)
                         .sum(axis=(1, 2)) / (BEAMS - abs(s)) for s in shifts])
        shift = shifts[cost.argmin(axis=0)]
        where = np.arange(BEAMS) + shift[:, None]
        use = ((where >= 0) & (where < BEAMS) & inside).astype(f32)[:, None, :]
        moved = np.take_along_axis(b, np.clip(where, 0, BEAMS - 1)[:, None, :].repeat(9, 1), 2)
        change, level = (moved - a) * use, 0.5 * (moved + a)
        slope = np.gradient(level, axis=2) * use
        level *= use

        def take_out(x, along):
            share = (x * along).sum(axis=(1, 2)) / np.maximum((along * along).sum(axis=(1, 2)), 1e-12)
            return x - share[:, None, None] * along

        level = take_out(level, slope)
        change = take_out(take_out(change, slope), level)
        mean, square = change.sum(axis=1), (change * change).sum(axis=1)
        cells_used = use.sum()
        index = ((mean**2 - square) / 72).sum() / cells_used / (square.sum() / 9 / cells_used + 0.25)
    mean, square, over = edge.sum(axis=1), (edge**2).sum(axis=1), (edge > 0).sum(axis=1)
    lit = (inside & (kind == 0) & (mean > 9 * 1.5) & (over >= 8)
           & ((mean**2 - square) / 72 > 0.35 * (square / 9 + 0.1)))
    lit &= ndimage.binary_opening(lit, np.ones((1, 2)))
    runs = (np.diff(lit.astype(np.int8), axis=1, prepend=0) == 1).sum(axis=1)
    coverage = lit.sum(axis=1) / max(1, (kind == 0).sum())
    best = int(coverage.argmax())
    p = 1 / (1 + np.exp(-(2.8 + 1.2 * np.log(max(index, 0) + 0.02)))) if np.isfinite(index) else np.nan
    return {"index": p, "count": int(runs.max()), "coverage": float(coverage[best]), "best": best, "lit": lit[best],
            "tide": coverage}


def find_a_lines(pleura, mask, frames):
    above, rows = 32, 32 + 150 + 32
    total, start, per = pleura["total"], pleura["start"], pleura["per"]
    last = np.minimum(start + per, frames)
    blocks = (total[last] - total[start]) / (last - start).astype(f32)[:, None, None]
    at = np.floor(pleura["rows"]).astype(int)
    part = (pleura["rows"] - at)[:, None, :]
    row = at[:, None, :] + np.arange(rows)[:, None] - above
    safe = np.clip(row, 0, DEPTHS - 2)
    beam = np.arange(BEAMS)
    ok = (row >= 0) & (row < DEPTHS - 1) & mask[safe, beam] & mask[safe + 1, beam] & (pleura["kind"] == 0)
    weight = ok * (last - start).astype(f32)[:, None, None]
    upper, lower = np.take_along_axis(blocks, safe, 1), np.take_along_axis(blocks, safe + 1, 1)
    cover = weight.sum(axis=0)
    use = (cover > 0).astype(f32)
    grey = ((upper + part * (lower - upper)) * weight).sum(axis=0) / np.maximum(cover, 1)
    smooth = ndimage.gaussian_filter1d(grey * use, 2, axis=1) / np.maximum(ndimage.gaussian_filter1d(use, 2, axis=1), 0.05)
    ridge = (ndimage.gaussian_filter1d(smooth, 1, axis=0) - ndimage.gaussian_filter1d(smooth, 2.5, axis=0)) * use
    used = np.maximum(use.sum(axis=1), 1)
    level = ndimage.gaussian_filter1d((smooth * use).sum(axis=1) / used, 6)
    x, y = ridge[above + 20 : above + 120, :-6], ridge[above + 20 : above + 120, 6:]
    both = use[above + 20 : above + 120, :-6] * use[above + 20 : above + 120, 6:]
    coherence = (x * y * both).sum() / ((0.5 * (x * x + y * y) * both).sum() + 0.02 * both.sum() + 1e-6)
    strip = slice(above - 4, above + 150)
    contrast = ridge[strip] / (level[strip, None] + 3)
    energy, floor = (contrast**2).sum(axis=1), 0.001 * use[strip].sum() + 1e-9
    count = len(contrast)
    rho = []
    for lag in range(12, 110):
        a, b = contrast[: count - lag], contrast[lag:]
        product = 0.5 * ((a[:, 6:] * b[:, :-6]).sum() + (a[:, :-6] * b[:, 6:]).sum())
        rho.append(product / np.sqrt((energy[: count - lag].sum() + floor) * (energy[lag:].sum() + floor)))
    spacing = 12 + int(np.argmax(rho))
    profile = np.where(use.sum(axis=1) >= 8, ridge.sum(axis=1) / used / (level + 3), 0)
    found = 0
    for k in range(1, 7):
        below, slack = int(k * spacing + 0.5), int(0.05 * k * spacing + 1.5)
        if below > 150:
            break
        found += profile[above + below - slack : above + below + slack + 1].max(initial=-1) >= 0.04
    z = -0.2 + 3.2 * coherence + 0.8 * np.log(max(max(rho), 0) + 0.01)
    return {"index": 1 / (1 + np.exp(-z)), "count": int(found), "spacing": spacing}


# ---- one clip, all clips ----------------------------------------------------------------------------------------


def evidence_picture(path, frame, cell, pleura, b, x, y):
    """The original frame with the pleural line, the straightened one with the B-lines beside it."""
    picture = cv2.cvtColor(frame, cv2.COLOR_GRAY2BGR)
    row = np.clip(np.round(pleura["line"]).astype(int), 0, DEPTHS - 1)
    points = np.stack([x[row, np.arange(BEAMS)], y[row, np.arange(BEAMS)]], axis=1)
    cv2.polylines(picture, [np.round(points).astype(np.int32)], False, (31, 68, 180), 1, cv2.LINE_AA)
    flat = cv2.cvtColor(cv2.resize(cell, (256, 512)), cv2.COLOR_GRAY2BGR)
    for j in np.flatnonzero(b["lit"]):
        cv2.line(flat, (2 * j, int(2 * row[j])), (2 * j, 486), (31, 68, 180), 1)
    canvas = np.full((max(picture.shape[0], 512), picture.shape[1] + 266, 3), 255, np.uint8)
    canvas[: picture.shape[0], : picture.shape[1]] = picture
    canvas[:512, -256:] = flat
    cv2.imwrite(str(path), canvas)
    return canvas


def read_clip(path, out, pictures):
    began = time.perf_counter()
    row = {"clip": path.name, "status": "unreadable"}
    frames, times = decode(path)
    row["frames"] = len(frames)
    view = find_view(frames)
    if view is None:
        return row, None
    cells, mask, x, y = straighten(frames, view)
    cells, times, source = settle(cells, mask, times)
    frame_s = float(np.median(np.diff(times))) if len(times) > 1 and np.isfinite(times).all() else np.nan
    pleura = find_pleura(cells, mask, frame_s)
    if pleura is None:
        return row, None
    b = find_b_lines(cells, mask, pleura["kind"], frame_s)
    a = find_a_lines(pleura, mask, len(cells))
    row.update(status="read", shape=view["shape"], pleura_depth_rel=pleura["depth"], a_line_index=a["index"],
               a_line_count=a["count"], b_line_index=b["index"], b_line_count=b["count"], b_line_coverage=b["coverage"])
    picture = None
    if pictures:
        middle = len(cells) // 2
        picture = evidence_picture(out / (path.stem + ".png"), frames[source[middle]], cells[middle], pleura, b, x, y)
    row["seconds"] = time.perf_counter() - began
    return row, (picture, b["tide"])


def write_report(out, results):
    """One page for the examination, then rows of pictures with their tide line, by Matplotlib."""
    import matplotlib

    matplotlib.use("pdf")
    import matplotlib.pyplot as plt
    from matplotlib.backends.backend_pdf import PdfPages

    with PdfPages(out / "report.pdf") as pdf:
        figure = plt.figure(figsize=(8.27, 11.69))
        lines = [f"{r['clip'][:28]:30} {r['status']:10} pleura {r.get('pleura_depth_rel', np.nan):.3f}  "
                 f"A {r.get('a_line_index', np.nan):.2f}  B {r.get('b_line_index', np.nan):.2f}" for r, _ in results]
        figure.text(0.05, 0.97, "\n".join(lines[:90]), family="monospace", size=6, va="top")
        pdf.savefig(figure)
        plt.close(figure)
        shown = [(r, kept) for r, kept in results if kept and kept[0] is not None]
        for first in range(0, len(shown), 4):
            figure, axes = plt.subplots(4, 2, figsize=(8.27, 11.69), width_ratios=(2, 1))
            for (row, (picture, tide)), (left, right) in zip(shown[first : first + 4], axes):
                left.imshow(picture[..., ::-1])
                left.set_title(row["clip"], size=7)
                right.fill_between(np.arange(len(tide)), tide)
                right.set_ylim(0, 1)
            for axis in axes[:, 0]:
                axis.axis("off")
            pdf.savefig(figure)
            plt.close(figure)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("clips", nargs="+", type=pathlib.Path)
    parser.add_argument("--out", type=pathlib.Path, required=True)
    parser.add_argument("--no-report", action="store_true")
    parser.add_argument("--workers", type=int, default=1)
    words = parser.parse_args()
    words.out.mkdir(parents=True, exist_ok=True)
    pictures = not words.no_report
    began = time.perf_counter()
    if words.workers > 1:
        cv2.setNumThreads(1)
        with concurrent.futures.ProcessPoolExecutor(words.workers) as pool:
            many = len(words.clips)
            results = list(pool.map(read_clip, words.clips, [words.out] * many, [pictures] * many))
    else:
        results = [read_clip(path, words.out, pictures) for path in words.clips]
    read = time.perf_counter() - began
    columns = ["clip", "status", "frames", "shape", "pleura_depth_rel", "a_line_index", "a_line_count", "b_line_index",
               "b_line_count", "b_line_coverage", "seconds"]
    with open(words.out / "readings.csv", "w", newline="") as file:
        writer = csv.DictWriter(file, columns)
        writer.writeheader()
        writer.writerows(row for row, _ in results)
    if pictures:
        write_report(words.out, results)
    print(f"reading_s {read:.3f}\nall_s {time.perf_counter() - began:.3f}\nframes {sum(r['frames'] for r, _ in results)}")


if __name__ == "__main__":
    main()
