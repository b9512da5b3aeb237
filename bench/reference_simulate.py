#!/usr/bin/env python3
"""The simulator against a general-purpose one, PyMUST 0.1.9 (SIMUS), on scatterers of the same number in the same field:
time a frame of 192 beams. SIMUS sums every scatterer at every frequency for every transmission, so its time is measured
for a few transmissions and multiplied (each costs the same); scatterers may be fewer than given (--share) and are
multiplied likewise, since its time is proportional to them: both are printed.

    bench/reference_simulate.py [--build build] [--beams-measured 2] [--share 0.1]
"""
import argparse
import pathlib
import subprocess
import time

import numpy as np

if not hasattr(np, "concat"):  # pymust 0.1.9 expects NumPy 2
    np.concat = np.concatenate
import pymust
from pymust import utils

BEAMS, DEPTH, RADIUS, FIELD, FREQ, C = 192, 0.12, 0.06, 1.0, 3.5e6, 1540.0


def scatterers(rng):
    """Ten to a resolution cell (fully developed speckle needs about that many) over the field of a convex probe."""
    area = FIELD / 2 * ((RADIUS + DEPTH) ** 2 - RADIUS**2)
    lateral = 0.886 * C / FREQ * 2.5  # at F# 2.5
    cell = lateral * C / FREQ  # two cycles: half the pulse is a wavelength
    count = int(10 * area / cell)
    r = np.sqrt(rng.uniform(RADIUS**2, (RADIUS + DEPTH) ** 2, count))
    angle = rng.uniform(-FIELD / 2, FIELD / 2, count)
    return r * np.sin(angle), r * np.cos(angle) - RADIUS, rng.rayleigh(1, count)


def probe():
    param = utils.Param()
    param.fc, param.fs, param.c, param.bandwidth, param.TXnow = FREQ, 4 * FREQ, C, 75, 2
    param.Nelements, param.radius, param.height, param.focus, param.attenuation = 128, RADIUS, 13e-3, 70e-3, 0
    param.pitch = FIELD * RADIUS / 128
    param.width, param.kerf = 0.9 * param.pitch, 0.1 * param.pitch
    return param


def main():
    root = pathlib.Path(__file__).resolve().parent.parent
    parser = argparse.ArgumentParser()
    parser.add_argument("--build", type=pathlib.Path, default=root / "build")
    parser.add_argument("--beams-measured", type=int, default=2)
    parser.add_argument("--share", type=float, default=0.1)
    words = parser.parse_args()
    ours = subprocess.run([str(words.build / "bench" / "bench_simulate")], capture_output=True, text=True, check=True).stdout
    print(ours)
    row = [c.strip() for c in next(line for line in ours.splitlines() if line.startswith("| 192 beams, 120 mm |")).split("|")]
    wall_ms, cpu_ms = float(row[2]), float(row[3])
    x, z, strength = scatterers(np.random.default_rng(1))
    part = slice(0, max(1, int(words.share * len(x))))
    param = probe()
    walls, cpus = [], []
    for beam in range(words.beams_measured + 1):  # the first warms up
        wall, cpu = time.perf_counter(), time.process_time()
        delay = pymust.txdelay(0.0, 0.06, param)
        signal = pymust.simus(x[part], z[part], strength[part], delay, param)[0]
        walls.append(time.perf_counter() - wall)
        cpus.append(time.process_time() - cpu)
    wall, cpu = min(walls[1:]) / words.share * BEAMS, min(cpus[1:]) / words.share * BEAMS
    print(f"PyMUST: {len(x)} scatterers, {part.stop} of them for {words.beams_measured} of {BEAMS} transmissions, "
          f"{signal.shape[0]} samples x {signal.shape[1]} elements; multiplied to a frame: wall {wall:.0f} s, CPU {cpu:.0f} s")
    print(f"PyMUST / strandline: wall {1e3 * wall / wall_ms:.0f}, CPU {1e3 * cpu / cpu_ms:.0f} (aim: at least 20)")
    print("SIMUS works out every element's echo of every scatterer, which strandline does not: the ratio says what each way of "
          "computing a picture costs, not how well either is written.")


if __name__ == "__main__":
    main()
