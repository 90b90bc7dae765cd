#!/usr/bin/python3
"""Order spectrum at constant speed against scipy.signal.welch of the same recording.

With a whole number of samples per turn both have the same bins and the same segments, so that every bin, noise included,
must agree. The program to test is named by LAYSHAFT_PRINT_SPECTRUM."""
import os
import subprocess
import sys

try:
    import numpy as np
    import scipy.signal
except ImportError:
    print("skipped: scipy not present")
    sys.exit(77)

program = os.environ.get("LAYSHAFT_PRINT_SPECTRUM")
if not program or not os.path.exists(program):
    print("skipped: LAYSHAFT_PRINT_SPECTRUM not given")
    sys.exit(77)


def worst_difference(rate, hz, max_order, turns, segments):
    samples = int(rate / hz * turns)
    n = samples * (segments + 1) // 2 + samples // 4
    t = np.arange(n) / rate
    x = 0.05 * np.random.default_rng(20).standard_normal(n)
    for order, level in ((1, 0.4), (17.25, 0.3), (23.1, 0.02), (61.7, 0.1)):
        x += level * np.sin(2 * np.pi * order * hz * t + order)
    ours = subprocess.run([program, str(rate), str(hz), str(max_order), str(turns)], input=x.tobytes(),
                          stdout=subprocess.PIPE, check=True).stdout
    ours = np.array(ours.split(), dtype=float)
    _, theirs = scipy.signal.welch(x, rate, "hann", samples, samples // 2, detrend=False, scaling="spectrum")
    bins = slice(turns, len(ours))
    return np.max(np.abs(10 * np.log10(ours[bins] / theirs[: len(ours)][bins])))


failed = False
for case in ((48000, 25, 100, 64, 9), (48000, 60, 120, 32, 20), (12000, 30, 100, 16, 30), (48000, 100, 100, 64, 12)):
    worst = worst_difference(*case)
    print("rate %d, %g turns/s, orders to %g, %d turns: bins differ by at most %.4f dB" % (*case[:4], worst))
    failed |= not worst < 0.05
sys.exit(1 if failed else 0)
