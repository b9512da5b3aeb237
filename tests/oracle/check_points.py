"""Widths of point targets in the simulator's picture against a general-purpose ultrasound simulator: pymust (PyPI), whose
pfield computes the field of an array from its elements (Garcia, Comput Methods Programs Biomed 2022;218:106726). Same
aperture, Hamming weight, focus and pulse; transmit times dynamic receive; -6 dB of the amplitude. Within 15 %."""
import subprocess
import sys

try:
    import numpy as np

    if not hasattr(np, "concat"):  # pymust 0.1.9 expects NumPy 2
        np.concat = np.concatenate
    import pymust
except ImportError as error:
    print(f"the reference simulator is not there ({error}); ./check installs it")
    sys.exit(77)


def field(freq_hz, bandwidth, aperture, focus, depth, x):
    param = pymust.utils.Param()
    param.fc, param.bandwidth, param.c = freq_hz, 100 * bandwidth, 1540.0
    param.pitch = param.c / freq_hz / 2
    param.Nelements = max(4, round(aperture / param.pitch))
    param.width, param.kerf = 0.9 * param.pitch, 0.1 * param.pitch
    param.radius, param.attenuation = np.inf, 0
    t = (np.arange(param.Nelements) + 0.5) / param.Nelements - 0.5
    param.TXapodization = 0.54 + 0.46 * np.cos(2 * np.pi * t)
    delays = pymust.txdelay(0.0, focus, param)
    pressure, _, _ = pymust.pfield(x[None, :], None, np.full((1, x.size), depth), delays, param)
    return np.abs(pressure).ravel()


def full_width(x, profile):
    profile = profile / profile.max()
    i = np.where(profile >= 0.5)[0].max()
    return 2 * (x[i] + (x[i + 1] - x[i]) * (profile[i] - 0.5) / (profile[i] - profile[i + 1]))


worst = 0
for line in subprocess.run([sys.argv[1]], check=True, capture_output=True, text=True).stdout.splitlines():
    freq, bandwidth, aperture, number, focus, depth, ours = map(float, line.split())
    x = np.linspace(0, 8e-3, 400)
    transmit = field(freq * 1e6, bandwidth, min(aperture, focus / number) / 1e3, focus / 1e3, depth / 1e3, x)
    receive = field(freq * 1e6, bandwidth, min(aperture, depth / number) / 1e3, depth / 1e3, depth / 1e3, x)
    theirs = 1e3 * full_width(x, transmit * receive)
    worst = max(worst, abs(ours / theirs - 1))
    print(f"{freq:g} MHz, focus {focus:g} mm, depth {depth:.1f} mm: {ours:.3f} mm here, {theirs:.3f} mm there ({100 * (ours / theirs - 1):+.1f} %)")
print(f"{'1 passed, 0 failed' if worst <= 0.15 else '0 passed, 1 failed'}")
sys.exit(1 if worst > 0.15 else 0)
