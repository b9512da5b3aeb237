"""Tracking of speckle between beams against OpenCV on shifted speckle: block matching by normalised correlation
(matchTemplate, its peak by the parabola through three values) and dense optical flow (DIS), both within 0.1 pixel in the
median and in nine of ten; and against the shift that was put in. Argument: the tool built from tests/tools/track_shift.c.
Exits 77 (skipped) when a library is not installed."""
import subprocess
import sys
import tempfile

try:
    import cv2
    import numpy as np
    from scipy.ndimage import gaussian_filter1d, shift as spline_shift
except ImportError as error:
    print(f"skipped: {error}; ./check installs tests/requirements.txt")
    sys.exit(77)

ROWS, BEAMS, PAIRS, FIRST, LAST = 16, 128, 60, 34, 93
rng = np.random.default_rng(6)


def speckle():
    """Level of fully developed speckle: logarithm of the envelope of filtered complex noise."""
    field = rng.standard_normal((ROWS, 3 * BEAMS)) + 1j * rng.standard_normal((ROWS, 3 * BEAMS))
    field = gaussian_filter1d(field.real, 1.8, axis=1) + 1j * gaussian_filter1d(field.imag, 1.8, axis=1)
    field = gaussian_filter1d(field.real, 1.2, axis=0) + 1j * gaussian_filter1d(field.imag, 1.2, axis=0)
    level = 20 * np.log10(np.abs(field) + 1e-3 * np.abs(field).max())
    level = gaussian_filter1d(level, 0.8, axis=1)
    return level - level.mean()


def block_matching(a, b):
    """OpenCV's normalised correlation of the window of `a` over `b`."""
    reach = 12
    template, field = a[:, FIRST:LAST + 1], b[:, FIRST - reach:LAST + 1 + reach]
    score = cv2.matchTemplate(field.astype(np.float32), template.astype(np.float32), cv2.TM_CCORR_NORMED)[0]
    k = int(np.argmax(score))
    if 0 < k < len(score) - 1:
        left, middle, right = score[k - 1:k + 2]
        return k - reach + 0.5 * (left - right) / (left - 2 * middle + right)
    return k - reach


def optical_flow(a, b):
    """OpenCV's DIS flow of the strips, enlarged, in the window's middle."""
    scale = 4
    both = [np.clip(128 + 20 * v / v.std(), 0, 255).astype(np.uint8) for v in (a, b)]
    both = [cv2.resize(v, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC) for v in both]
    flow = cv2.DISOpticalFlow_create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM).calc(both[0], both[1], None)
    return float(np.median(flow[:, FIRST * scale:(LAST + 1) * scale, 0])) / scale


with tempfile.NamedTemporaryFile() as file:
    truth, matched, flowed = [], [], []
    for i in range(PAIRS):
        wide = speckle()
        d = rng.uniform(-6, 6)
        moved = spline_shift(wide, (0, d), order=3, mode="nearest")
        a, b = wide[:, BEAMS:2 * BEAMS], moved[:, BEAMS:2 * BEAMS]
        b = b + 0.05 * wide.std() * rng.standard_normal(b.shape)
        file.write(a.astype("<f4").tobytes() + b.astype("<f4").tobytes())
        truth.append(d)
        matched.append(block_matching(a, b))
        flowed.append(optical_flow(a, b))
    file.flush()
    out = subprocess.run([sys.argv[1], file.name, str(ROWS), str(PAIRS), str(FIRST), str(LAST)], capture_output=True, text=True,
                         check=True).stdout.split()
    found = np.array(out[0::2], float)

failures = 0
for name, other in (("shift put in", truth), ("OpenCV block matching", matched), ("OpenCV optical flow", flowed)):
    off = np.abs(found - np.array(other))
    print(f"{name}: median {np.median(off):.3f}, nine of ten {np.quantile(off, 0.9):.3f}, worst {off.max():.3f} beams")
    if np.quantile(off, 0.9) > 0.1 or (name != "OpenCV optical flow" and off.max() > 0.1):
        failures += 1
        print(f"failed: more than 0.1 beams from {name}")
sys.exit(1 if failures else 0)
