#!/usr/bin/python3
"""The speed found in a recording alone against the ridge of a mesh in scipy.signal.spectrogram.

A run-up of an engine and two meshes by formula; the mesh at order 23 is the loudest. The ridge is looked for in the
upper half of the spectrum, where only that mesh sounds, and must lie at 23 times the speed found, within a bin. The
program to test is named by LAYSHAFT_PROGRAM."""
import os
import subprocess
import sys
import tempfile

try:
    import numpy as np
    import scipy.io.wavfile
    import scipy.signal
except ImportError:
    print("skipped: scipy not present")
    sys.exit(77)

program = os.environ.get("LAYSHAFT_PROGRAM")
if not program or not os.path.exists(program):
    print("skipped: LAYSHAFT_PROGRAM not given")
    sys.exit(77)

UNIT = """[unit]
name = two meshes
driven by = input shaft
output = mainshaft
[mesh headset]
driver = input shaft, 23
driven = countershaft, 36
[mesh third pair]
driver = countershaft, 27
driven = third gear, 29
[gear 3]
lock = third gear, mainshaft
[engine]
cylinders = 4
strokes = 4
turns with = input shaft
"""
RATE, SECONDS, MESH = 16000, 12, 23
LINES = {2: 0.2, 4: 0.12, 6: 0.08, 1: 0.02, 3: 0.02, 17.25: 0.06, MESH: 0.3}


def recording(low_hz, high_hz):
    t = np.arange(RATE * SECONDS) / RATE
    turns = low_hz * t + 0.5 * (high_hz - low_hz) / SECONDS * t * t
    x = 0.02 * np.random.default_rng(11).standard_normal(len(t))
    for order, amplitude in LINES.items():
        x += amplitude * np.sin(2 * np.pi * order * turns + order)
    return x.astype(np.float32)


def speed_of(x, folder):
    unit, wav = os.path.join(folder, "unit.ini"), os.path.join(folder, "run.wav")
    with open(unit, "w", encoding="utf-8") as file:
        file.write(UNIT)
    scipy.io.wavfile.write(wav, RATE, x)
    out = subprocess.run([program, "speed", "--quiet", "--csv", "--unit", unit, "--gear", "3", wav],
                         stdout=subprocess.PIPE, check=True).stdout.decode().splitlines()
    assert out[0] == "time_s,rpm", out[0]
    return np.array([line.split(",") for line in out[1:]], dtype=float).T


failed = False
for low, high in ((25, 50), (52, 22)):
    x = recording(low, high)
    with tempfile.TemporaryDirectory() as folder:
        time, rpm = speed_of(x, folder)
    f, t, power = scipy.signal.spectrogram(x, RATE, "hann", 2048, 1536)
    from_bin = np.searchsorted(f, 0.9 * MESH * min(low, high))
    ridge = f[from_bin + np.argmax(power[from_bin:], axis=0)]
    found = MESH * np.interp(t, time, rpm / 60)
    inside = (t > time[0]) & (t < time[-1])
    off = np.abs(ridge - found)[inside] / f[1]
    print("%d to %d turns/s: ridge and speed differ by %.2f bins at most, %.2f in the median"
          % (low, high, off.max(), np.median(off)))
    failed |= not (inside.mean() > 0.95 and off.max() < 1.0)
sys.exit(1 if failed else 0)
