#!/usr/bin/python3
"""Squared envelope spectra at constant speed against those of the Hilbert transform, and spectral kurtosis against
scipy.stats.kurtosis.

The reference cuts the same band out of the whole spectrum with straight edges and squares the analytic signal (one-sided
spectrum), takes Hann segments of the same number of turns and looks for the highest bin around each multiple of the order of
the blows. Both must find their lines in the same bins. Heights above the local floor are compared as differences to the first
line's. They may differ by some dB: the program first brings every 500 Hz of the band to the same mean and cuts energies at ten
times it, the reference squares whatever is loudest; and floors of few averages scatter by about 1 dB each.

The kurtosis k of a real signal in a narrow band is 1.5 times the spectral kurtosis K of its complex envelope, since
<x^4> = 3/8 <|c|^4> and <x^2> = 1/2 <|c|^2> for a phase that is spread evenly. 12 s of a band of 500 Hz leave each of both a
deviation of 0.03; the program's cut at six times the mean adds up to 0.05 where the noise swings.

The program to test is named by LAYSHAFT_PRINT_ENVELOPE; a record of the open data is compared as well where LAYSHAFT_DATA
has it."""
import os
import subprocess
import sys

try:
    import numpy as np
    import scipy.io.wavfile
    import scipy.stats
except ImportError:
    print("skipped: scipy not present")
    sys.exit(77)

program = os.environ.get("LAYSHAFT_PRINT_ENVELOPE")
if not program or not os.path.exists(program):
    print("skipped: LAYSHAFT_PRINT_ENVELOPE not given")
    sys.exit(77)

HEIGHTS_DB = 5.0
KURTOSIS = 0.15


def ours(x, rate, hz, max_order, turns):
    out = subprocess.run([program, repr(float(rate)), repr(float(hz)), str(max_order), str(turns)],
                         input=x.astype(float).tobytes(), stdout=subprocess.PIPE, check=True).stdout.decode()
    rows = [np.array(line.split(), dtype=float) for line in out.splitlines()]
    return rows[0][0], int(rows[0][3]), np.array(rows[1:])


def in_band(x, rate, low, high):
    """Analytic signal of the band: the positive frequencies inside, doubled."""
    spectrum = np.fft.fft(x)
    hz = np.fft.fftfreq(len(x), 1 / rate)
    return np.fft.ifft(np.where((hz >= low) & (hz < high), 2 * spectrum, 0))


def squared_envelope_spectrum(x, rate, hz, low, high, turns):
    """Mean power of Hann segments, bins of 1 / turns orders."""
    energy = np.abs(in_band(x, rate, low, high)) ** 2
    n = turns / hz * rate
    size = int(round(n))
    starts = np.arange(0, len(x) - size, n / 2).astype(int)
    window = np.hanning(size + 1)[:-1]
    power = 0
    for start in starts:
        piece = energy[start:start + size]
        power = power + np.abs(np.fft.rfft((piece / piece.mean() - 1) * window)) ** 2
    return power / len(starts)


def line(spectrum, step, order):
    """Bin of the highest line within three bins of the order, and its height over the median of the orders around it."""
    centre = int(round(order / step))
    best = centre - 3 + int(np.argmax(spectrum[centre - 3:centre + 4]))
    width = int(0.75 / step)
    return best, 10 * np.log10(spectrum[best] / np.median(spectrum[max(1, best - width):best + width + 1]))


def compare(name, x, rate, hz, order, near_hz, turns, lines):
    step, elementary, rows = ours(x, rate, hz, 28, turns)
    # the narrowest union of two bands or more around the ring, and the widest, which is all of Hz
    around = [row for row in rows[elementary:] if row[0] <= near_hz < row[1]]
    ok = True
    for row in (around[-1], around[0]):
        theirs = squared_envelope_spectrum(x, rate, hz, row[0], row[1], turns)
        a = [line(row[3:], step, k * order) for k in range(1, lines + 1)]
        b = [line(theirs, step, k * order) for k in range(1, lines + 1)]
        bins = max(abs(p[0] - q[0]) for p, q in zip(a, b))
        off = max(abs(p[1] - a[0][1] - q[1] + b[0][1]) for p, q in zip(a, b))
        print("%s, %.0f to %.0f Hz: lines %s dB, reference %s dB; bins apart %d, relative heights by %.1f dB"
              % (name, row[0], row[1], " ".join("%.1f" % p[1] for p in a), " ".join("%.1f" % q[1] for q in b),
                 bins, off))
        ok &= bins <= 1 and off <= HEIGHTS_DB and min(p[1] for p in a) > 10
    return ok


def outer_ring(rate, hz, order, seconds, ring_hz, size, slip):
    """Rings of one resonance, whose blows come `slip` of their period early or late, in white noise of deviation 1."""
    random = np.random.default_rng(50)
    x = random.standard_normal(int(rate * seconds))
    t = np.arange(int(0.008 * rate)) / rate
    for blow in np.cumsum(1 + slip * random.standard_normal(int(seconds * hz * order) - 2)) / (hz * order):
        start = int(np.ceil(blow * rate))
        after = t + start / rate - blow
        x[start:start + len(t)] += size * np.exp(-after / 0.0008) * np.sin(2 * np.pi * ring_hz * after)
    return x


def compare_kurtosis(name, x, rate):
    _, elementary, rows = ours(x, rate, 25, 28, 16)
    worst = 0
    for row in rows[1:elementary - 1:4]:
        theirs = scipy.stats.kurtosis(in_band(x, rate, row[0], row[1]).real) / 1.5
        worst = max(worst, abs(row[2] - theirs))
    print("%s: kurtosis of bands off by at most %.3f" % (name, worst))
    return worst <= KURTOSIS


good = True
for rate, hz, order, ring_hz in ((24000, 25, 3.58478, 5200), (48000, 40, 4.55, 9000)):
    x = outer_ring(rate, hz, order, 20, ring_hz, 2, 0.002)
    good &= compare("outer ring at %d Hz" % rate, x, rate, hz, order, ring_hz, 32, 4)

t = np.arange(48000 * 12) / 48000
noise = np.random.default_rng(51).standard_normal(len(t))
good &= compare_kurtosis("noise", noise, 48000)
good &= compare_kurtosis("noise that swings by 0.3", noise * (1 + 0.3 * np.cos(2 * np.pi * 31 * t)), 48000)
tones = sum(np.sin(2 * np.pi * hz * t) for hz in range(2500, 22500, 2000))
good &= compare_kurtosis("tones in every fourth band", tones + 0.01 * noise, 48000)

record = os.path.join(os.environ.get("LAYSHAFT_DATA", ""), "cwru_130.wav")
if os.path.exists(record):
    rate, x = scipy.io.wavfile.read(record)
    # measured 1795.7 rpm; its outer ring is at 3.5848 (labels.csv)
    good &= compare("open record", np.asarray(x, dtype=float).reshape(len(x), -1)[:, 0], rate, 1795.7 / 60, 3.5848, 3300,
                    32, 3)
else:
    print("open data not present: not compared")
sys.exit(0 if good else 1)
