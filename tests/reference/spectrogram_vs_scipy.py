#!/usr/bin/python3
"""Spectra over time of noise against scipy.signal.spectrogram, averaged in groups as ours are.

Both have the same window, hop and padding, so that every cell must agree. The program to test is named by
LAYSHAFT_PRINT_SPECTROGRAM."""
import os
import subprocess
import sys

try:
    import numpy as np
    import scipy.signal
except ImportError:
    print("skipped: scipy not present")
    sys.exit(77)

program = os.environ.get("LAYSHAFT_PRINT_SPECTROGRAM")
if not program or not os.path.exists(program):
    print("skipped: LAYSHAFT_PRINT_SPECTROGRAM not given")
    sys.exit(77)


def worst_difference(rate, samples, max_hz, columns, seconds):
    """Largest difference of a cell in dB, and of a column's time in seconds."""
    x = np.random.default_rng(7).standard_normal(int(rate * seconds))
    out = subprocess.run([program, str(rate), repr(samples / rate), str(max_hz), str(columns)], input=x.tobytes(),
                         stdout=subprocess.PIPE, check=True).stdout.decode().splitlines()
    start, step, step_hz = (float(word) for word in out[0].split())
    ours = np.array([line.split() for line in out[1:]], dtype=float)
    f, t, theirs = scipy.signal.spectrogram(x, rate, "hann", samples, samples - samples // 4, 2 * samples,
                                            detrend=False, scaling="spectrum", mode="psd")
    group = int(round(step * rate / (samples // 4)))
    whole = min(len(ours), theirs.shape[1] // group)
    assert whole >= len(ours) - 1 and abs(f[1] - step_hz) < 1e-9 and len(ours) <= columns
    bins = ours.shape[1]
    assert f[bins - 1] <= max_hz < f[bins] if bins < len(f) else True
    means = theirs[:bins, : whole * group].reshape(bins, whole, group).mean(axis=2).T
    times = t[: whole * group].reshape(whole, group).mean(axis=1)
    return (np.max(np.abs(10 * np.log10(ours[:whole] / means))),
            np.max(np.abs(times - (start + step * np.arange(whole)))))


failed = False
for case in ((8000, 800, 2000, 1000, 10), (8000, 480, 4000, 64, 30), (48000, 4800, 1500, 100, 20), (44100, 2208, 900, 16, 9)):
    db, seconds = worst_difference(*case)
    print("rate %d, window %d: cells differ by at most %.2g dB, times by %.2g s" % (*case[:2], db, seconds))
    failed |= not (db < 1e-6 and seconds < 1e-9)
sys.exit(1 if failed else 0)
