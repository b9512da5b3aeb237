"""Beam widths of the planner against PyMUST 0.1.9 (SIMUS), a general-purpose ultrasound simulation library: a point
target is moved sideways through the beam of a linear array at three depths, its echoes are delayed and summed, and the width
at -6 dB is compared. Ours is a continuous-wave diffraction integral, theirs a broadband simulation with element
directivity; they must agree within 15 %.

    check_beam.py STRANDLINE
"""
import json
import subprocess
import sys

try:
    import numpy as np

    if not hasattr(np, "concat"):  # pymust 0.1.9 expects NumPy 2
        np.concat = np.concatenate
    import pymust
    from pymust import utils
except ImportError as missing:
    print(f"skipped: {missing}. ./check installs it.")
    sys.exit(77)

C, PITCH, F_NUMBER, FACE = 1540.0, 0.2e-3, 1.5, 38.4e-3  # the planner's linear probe, common practice, no source


def pymust_width(freq, focus, depth, guess):
    """Width at -6 dB of a point's image, metres: transmit focused, receive focused at the depth, both unweighted."""
    transmit, receive = min(FACE, focus / F_NUMBER), min(FACE, depth / F_NUMBER)
    count = round(max(transmit, receive) / PITCH)
    param = utils.Param()
    param.fc, param.fs, param.c, param.bandwidth, param.TXnow = freq, 4 * freq, C, 75, 2
    param.pitch, param.width, param.kerf, param.Nelements = PITCH, 0.9 * PITCH, 0.1 * PITCH, count
    param.radius, param.height, param.focus, param.attenuation = np.inf, 4e-3, 20e-3, 0
    element = (np.arange(count) - (count - 1) / 2) * PITCH
    delay = (focus - np.hypot(element, focus)) / C
    delay -= delay[np.abs(element) <= transmit / 2].min()
    param.TXapodization = (np.abs(element) <= transmit / 2).astype(float)
    delay[param.TXapodization == 0] = 0
    listening = np.flatnonzero(np.abs(element) <= receive / 2)
    z = depth + np.linspace(-1.2e-3, 1.2e-3, 121)
    # the pulse leaves the middle last: it passes depth z on the axis at the middle's delay + z / c
    arrival = delay[np.abs(element).argmin()] + (z[:, None] + np.hypot(element[listening], z[:, None])) / C
    across = np.linspace(0, 1.1 * guess, 23)
    peak = []
    for x in across:
        signal = pymust.simus(np.array([x]), np.array([depth]), np.array([1.0]), delay[None], param)[0]
        iq = pymust.rf2iq(signal, param)
        at = arrival * param.fs
        low = np.clip(np.floor(at).astype(int), 0, len(iq) - 2)
        value = (low + 1 - at) * iq[low, listening] + (at - low) * iq[low + 1, listening]
        peak.append(np.abs((value * np.exp(2j * np.pi * freq * arrival)).sum(axis=1)).max())
    peak = np.array(peak) / max(peak)
    last = np.flatnonzero(peak >= 0.5)[-1]
    if last + 1 == len(peak):
        return np.inf
    share = (peak[last] - 0.5) / (peak[last] - peak[last + 1])
    return 2 * (across[last] + share * (across[last + 1] - across[last]))


failed = 0
for freq, focus in ((7.5, 30),):
    for depth in (15, 30, 45):
        words = [sys.argv[1], "plan", "pleura", "--probe", "linear", "--freq-mhz", str(freq), "--focus-mm", str(focus),
                 "--wall-mm", str(depth), "--depth-mm", "80", "--json"]
        ours = json.loads(subprocess.run(words, capture_output=True, text=True, check=True).stdout)
        ours = ours["setting"]["lateral_pleura_mm"]
        theirs = 1e3 * pymust_width(freq * 1e6, focus * 1e-3, depth * 1e-3, ours * 1e-3)
        bad = not abs(ours / theirs - 1) <= 0.15
        failed += bad
        print(f"{freq} MHz, focus {focus} mm, depth {depth} mm: {ours:.3f} mm, PyMUST {theirs:.3f} mm, ratio "
              f"{ours / theirs:.2f}{' TOO FAR' if bad else ''}")
sys.exit(1 if failed else 0)
