#!/usr/bin/env python3
"""Pairs of recordings made here, with numpy and scipy alone, whose change is known exactly: what `layshaft compare` says
of them. The course of the level over speed, the noise and the tach are none of the simulator's."""

import json
import os
import re
import subprocess
import sys
import tempfile

import numpy as np
from scipy import signal, stats
from scipy.io import wavfile

PROGRAM = os.environ.get("LAYSHAFT_PROGRAM", "build/layshaft")
SOURCE = os.environ.get("LAYSHAFT_SOURCE", ".")
RATE = 16000
SECONDS = 12.0
failed = []


def check(good, what):
    print(("ok   " if good else "FAIL ") + what)
    if not good:
        failed.append(what)


def speed(rng, low, high):
    """Turns per second of the input shaft over time: a sweep that is not quite even."""
    t = np.arange(int(SECONDS * RATE)) / RATE
    way = t / SECONDS + rng.uniform(-0.15, 0.15) * np.sin(2 * np.pi * t / SECONDS) / 2
    return t, low + (high - low) * way


def recording(rng, path, gain_db, headset_db=0.0, noise=0.02, third=17.25):
    """Gear 3 of the bench five-speed: third pair at 17.25, headset at 23 per turn (recordings/units/five-speed.ini)."""
    t, hz = speed(rng, rng.uniform(19, 22), rng.uniform(50, 56))
    turns = np.cumsum(hz) / RATE
    x = noise * signal.lfilter([1], [1, -0.6], rng.standard_normal(len(t)))
    for order, k, level in ((third, 1, 0.06), (third, 2, 0.03), (third, 3, 0.012), (23, 1, 0.03)):
        f = order * k * hz
        # one resonance at 900 Hz, the same both times
        answer = 1 + 2 / (1 + ((f - 900) / 60) ** 2)
        db = gain_db if order == third else headset_db
        x += level * 10 ** (db / 20) * answer * np.sin(2 * np.pi * order * k * turns + rng.uniform(0, 6.28))
    tach = (np.mod(turns, 1) < 0.3).astype(float)
    wavfile.write(path, RATE, np.stack([x, tach], axis=1).astype(np.float32))


def job(folder, rng, gain_db, unit=None, full_scale=True, sensor="accel", gear="3", **more):
    os.makedirs(folder)
    text = open(os.path.join(SOURCE, "recordings/units/five-speed.ini"), encoding="utf-8").read()
    with open(os.path.join(folder, "unit.ini"), "w", encoding="utf-8") as f:
        f.write(unit(text) if unit else text)
    with open(os.path.join(folder, "runs.csv"), "w", encoding="utf-8") as f:
        f.write("file,gear,load,tach_channel,sensor,full_scale,unit,oil_c\n")
        calibration = "," if not full_scale else "490.3,m/s2" if sensor == "accel" else "20,Pa"
        f.write("up.wav,%s,drive,2,%s,%s,%s\n" % (gear, sensor, calibration, more.pop("oil", 80)))
    recording(rng, os.path.join(folder, "up.wav"), gain_db, **more)


def compare(*args):
    run = subprocess.run([PROGRAM, "compare", "--no-plots", "--quiet", "--json", *args], capture_output=True, text=True,
                         check=False)
    return run.returncode, json.loads(run.stdout) if run.stdout else None, run.stderr


def part(answer, name):
    return next(p for p in answer["parts"] if p["part"] == name)


def pairs(base):
    """Known changes: inside the interval as often as it says, found where they are 3 dB, not found where there is none."""
    inside, found, wrong, widths, n = 0, 0, 0, [], 24
    for k in range(n):
        rng = np.random.default_rng(1000 + k)
        change = (3.0, -3.0, 0.0, rng.uniform(-12, 12))[k % 4]
        before, after = os.path.join(base, "b%d" % k), os.path.join(base, "a%d" % k)
        job(before, rng, 0.0)
        job(after, rng, change)
        status, answer, err = compare(before, after)
        if status != 0:
            check(False, "pair %d: exit %d: %s" % (k, status, err))
            continue
        p, other = part(answer, "third pair"), part(answer, "headset")
        inside += p["low_db"] <= change <= p["high_db"]
        widths.append(p["high_db"] - p["low_db"])
        if abs(change) == 3:
            found += p["verdict"] == ("worse" if change > 0 else "better")
        if change == 0:
            wrong += p["verdict"] in ("better", "worse")
        wrong += other["verdict"] in ("better", "worse")
    # Of 24 a share of 0.95 leaves 20 or fewer in one of 100 cases.
    least = int(stats.binom.ppf(0.01, n, 0.95))
    check(inside >= least, "the interval holds the true change in %d of %d (at least %d)" % (inside, n, least))
    check(found >= 11, "a change of 3 dB is found in %d of 12" % found)
    check(wrong <= 2, "%d of 30 unchanged parts are called changed" % wrong)
    check(np.median(widths) < 4, "the interval is %.1f dB wide" % np.median(widths))


def told(base):
    """What differs besides is told, what cannot be compared is refused with exit 2 and a reason."""
    rng = np.random.default_rng(7)
    job(os.path.join(base, "plain"), rng, 0.0)
    job(os.path.join(base, "cold"), rng, 0.0, oil=25)
    status, answer, _ = compare(os.path.join(base, "plain"), os.path.join(base, "cold"))
    check(status == 0 and any("oil_c: 80 before, 25 after" in d for d in answer["differs"]), "the oil is told")

    # Another tooth in the third pair: 27:26 at 17.25 becomes 28:26 at 28 * 23 / 36 per turn, and is matched by its name.
    def swapped(text):
        return re.sub(r"(driver\s*=\s*countershaft,\s*)27", r"\g<1>28", text)

    job(os.path.join(base, "swap"), rng, -6.0, unit=swapped, third=28 * 23 / 36)
    status, answer, _ = compare(os.path.join(base, "plain"), os.path.join(base, "swap"))
    check(status == 0 and any("27:26 teeth before, 28:26 after" in d for d in answer["differs"]), "the gear swap is told")
    p = part(answer, "third pair")
    check(p["low_db"] <= -6 <= p["high_db"] and p["verdict"] == "better", "and the pair found 6 dB quieter: %.1f dB" % p["change_db"])

    refusals = (
        ("other", dict(unit=lambda text: text.replace("name = Bench five-speed", "name = Another box")), "different units"),
        ("mic", dict(sensor="mic"), "different sensors"),
        ("raw", dict(full_scale=False), "--match"),
        ("gear", dict(gear="2"), "no gear under the same load"),
    )
    for name, how, words in refusals:
        job(os.path.join(base, name), rng, 0.0, **how)
        status, answer, err = compare(os.path.join(base, "plain"), os.path.join(base, name))
        check(status == 2 and answer is None and words in err, "%s: refused (%s)" % (name, " ".join(err.split())[:90]))
    os.makedirs(os.path.join(base, "empty"))
    status, _, err = compare(os.path.join(base, "plain"), os.path.join(base, "empty"))
    check(status == 2 and "unit.ini" in err, "an empty folder is refused")


def gains(base):
    """Without a calibration another gain must not pass for a change; held against the noise it does not matter."""
    rng = np.random.default_rng(11)
    job(os.path.join(base, "g0"), rng, 0.0, full_scale=False)
    job(os.path.join(base, "g1"), rng, 10.0 - 4.0, full_scale=False, headset_db=10.0, noise=0.02 * 10 ** 0.5)
    before, after = os.path.join(base, "g0"), os.path.join(base, "g1")
    _, answer, _ = compare(before, after)
    check(answer["verdict"] == "unsure" and part(answer, "third pair")["verdict"] == "unsure",
          "a gain of 10 dB: %s" % answer["summary"][:60])
    _, answer, _ = compare("--match", "floor", before, after)
    p = part(answer, "third pair")
    check(p["low_db"] <= -4 <= p["high_db"] and p["verdict"] == "better",
          "held against the noise: %.1f dB (%.1f to %.1f), true -4" % (p["change_db"], p["low_db"], p["high_db"]))


def main():
    with tempfile.TemporaryDirectory() as base:
        pairs(base)
        told(base)
        gains(base)
    sys.exit(1 if failed else 0)


main()
