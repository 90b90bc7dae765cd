#!/usr/bin/python3
"""The analysis of a job as one writes it in an afternoon with numpy and scipy, to be timed against the program: per run
the speed from the tach, order spectra and their floor, an order map, envelope spectra in octaves, lines and whose they
may be. Not a reference for results.

    plain_analysis.py JOB [RUNS]    (unit.ini, runs.csv with a tach channel, WAV files; only the first RUNS)"""
import configparser
import csv
import sys
from pathlib import Path

import numpy as np
from scipy import io, ndimage, signal

STEP = 1 / 64  # orders
TOP = 200  # orders
OCTAVES = [(500, 1000), (1000, 2000), (2000, 4000), (4000, 8000), (8000, 16000)]


def unit_orders(path):
    """Meshes as read: body and teeth; the speeds are not solved here, only multiples of teeth are listed."""
    ini = configparser.ConfigParser(strict=False, inline_comment_prefixes=(";", "#"))
    ini.read(path)
    return {s[5:]: int(ini[s]["driver"].split(",")[1]) for s in ini.sections() if s.startswith("mesh ")}


def turns_of(tach, rate):
    """Angle of the shaft in turns at every sample, from rising edges half way up."""
    middle = 0.5 * (tach.max() + tach.min())
    above = tach > middle
    rise = np.flatnonzero(~above[:-1] & above[1:])
    edges = rise + (middle - tach[rise]) / (tach[rise + 1] - tach[rise])
    edges = edges[np.concatenate([[True], np.diff(edges) > 0.5 * np.median(np.diff(edges))])]
    samples = np.arange(len(tach))
    return np.interp(samples, edges, np.arange(len(edges)), left=np.nan, right=np.nan), rate / np.diff(edges)


def to_angle(x, turns, per_turn):
    good = np.flatnonzero(np.isfinite(turns))
    grid = np.arange(np.ceil(turns[good[0]] * per_turn), turns[good[-1]] * per_turn) / per_turn
    at = np.interp(grid, turns[good], good)
    return ndimage.map_coordinates(x, [at], order=3, mode="nearest")


def order_spectra(angle, per_turn):
    points = int(per_turn / STEP)
    window = np.hanning(points)
    rows = []
    for start in range(0, len(angle) - points + 1, points // 2):
        spectrum = np.fft.rfft(angle[start : start + points] * window)
        rows.append(2 * np.abs(spectrum / window.sum()) ** 2)
    return np.array(rows) if rows else np.zeros((1, points // 2 + 1))


def floor_of(power):
    return ndimage.percentile_filter(power, 40, size=127)


def envelope_spectra(x, rate, turns, per_turn):
    out = []
    for low, high in OCTAVES:
        if high > 0.45 * rate:
            continue
        band = signal.sosfiltfilt(signal.butter(4, (low, high), "bandpass", fs=rate, output="sos"), x)
        out.append(order_spectra(to_angle(np.abs(signal.hilbert(band)), turns, per_turn), per_turn).mean(axis=0))
    return out


def lines_of(power, floor):
    peaks, _ = signal.find_peaks(power / floor, height=8)
    return peaks * STEP


def analyse(path, tach_channel, meshes):
    rate, data = io.wavfile.read(path)
    data = data.astype(float) / 32768
    turns, speed = turns_of(data[:, tach_channel - 1], rate)
    top = min(TOP, 0.45 * rate / speed.max())
    per_turn = 2 ** int(np.ceil(np.log2(2 * top / 0.8)))
    total, found = 0, []
    for c in range(data.shape[1]):
        if c == tach_channel - 1:
            continue
        cut = signal.firwin(255, min(0.99, 0.8 * per_turn / 2 * speed.min() / (rate / 2)))
        angle = to_angle(signal.oaconvolve(data[:, c], cut, mode="same"), turns, per_turn)
        rows = order_spectra(angle, per_turn)
        total = total + rows
        envelope_spectra(data[:, c], rate, turns, per_turn)
    power = total.mean(axis=0)
    for line in lines_of(power, floor_of(power)):
        near = [m for m, teeth in meshes.items() if abs(line / teeth - round(line / teeth)) < 0.02]
        found.append((line, near))
    return len(found)


def main():
    job = Path(sys.argv[1])
    meshes = unit_orders(job / "unit.ini")
    with open(job / "runs.csv", newline="") as table:
        rows = list(csv.DictReader(table))
    for row in rows[: int(sys.argv[2])] if len(sys.argv) > 2 else rows:
        count = analyse(job / row["file"], int(row["tach_channel"]), meshes)
        print(row["file"], count, "lines")


if __name__ == "__main__":
    main()
