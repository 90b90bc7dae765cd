#!/usr/bin/python3
"""layshaft record through PortAudio on virtual devices, what it wrote read by scipy: to the bit, whatever ends the
program; rows, calibration, tach, rescue; keys through a terminal. ALSA's file plugin gives sound as fast as it is taken,
so what is recorded from it has an end; a player at a JACK server gives it in real time."""

import csv
import json
import os
import random
import re
import shutil
import subprocess
import sys
import time

import numpy as np
from scipy.io import wavfile

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
from virtual_sound import CHANNELS, PROGRAM, RATE, SOURCE, RealTime, at_terminal, device, place, plain, said

SECONDS = 20
failed = 0


def complain(what):
    global failed
    failed = 1
    print("FAILED:", what, file=sys.stderr)


def expect(condition, what):
    if not condition:
        complain(what)


def job(name):
    folder = f"{place}/{name}"
    os.makedirs(folder, exist_ok=True)
    shutil.copy(f"{SOURCE}/recordings/units/five-speed.ini", f"{folder}/unit.ini")
    return folder


def record(env, folder, *options):
    call = [PROGRAM, "record", folder, "--rate", str(RATE), "--channels", str(CHANNELS), *options]
    return subprocess.run(call, env=env, capture_output=True, text=True, stdin=subprocess.DEVNULL, check=False)


def rows(folder):
    with open(f"{folder}/runs.csv", encoding="utf-8") as table:
        return list(csv.DictReader(table))


def recorded(path):
    """24 bits come left-justified in 32 from scipy."""
    try:
        rate, x = wavfile.read(path)
    except UnboundLocalError:  # scipy's answer to a file without samples
        return np.zeros((0, CHANNELS), dtype="<i4")
    expect(rate == RATE, f"{path}: rate {rate}")
    return x


def make_devices():
    t = np.arange(SECONDS * RATE) / RATE
    rng = np.random.default_rng(4)
    turns = 35 * t
    pulses = np.where((turns % 1 < 0.1) & (np.floor(turns) % 20 != 7), 0.7, 0.0)
    road = np.stack([0.05 * rng.standard_normal(len(t)) + 0.2 * np.sin(2 * np.pi * 17.25 * turns), pulses], 1)
    tone = np.stack([1e-3 * rng.standard_normal(len(t)), 0.05 * np.sqrt(2) * np.sin(2 * np.pi * 1000 * t)], 1)
    loud = np.stack([1.5 * np.sin(2 * np.pi * 203.7 * t), 1e-3 * rng.standard_normal(len(t))], 1)
    return {name: device(name, x) for name, x in (("road", road), ("tone", tone), ("loud", loud))}


# ---- what is checked ----


def check_recording(env):
    folder = job("road-test")
    done = record(env["road"], folder, "--device", "bench_road", "--gear", "3", "--load", "drive", "--seconds", "8",
                  "--note", 'wet; "cold"', "--tach-channel", "2", "--json")
    expect(done.returncode == 0, done.stderr)
    answer = json.loads(done.stdout)
    expect(answer["duration_s"] == 8 and answer["lost_samples"] == 0 and answer["ended_by"] == "time", done.stdout)
    x = recorded(f"{folder}/gear-3-drive-01.wav")
    expect(np.array_equal(x, said("road")[: 8 * RATE]), "the recording is not what was said")
    expect(abs(answer["tach"]["max_rpm"] - 2100) < 1, f"rpm {answer['tach']}")
    expect(answer["tach"]["missing_pulses"] in (13, 14), f"every 20th of 280 pulses: {answer['tach']}")
    expect(rows(folder)[0]["note"] == 'wet; "cold"' and rows(folder)[0]["tach_channel"] == "2", "row")
    again = record(env["road"], folder, "--device", "bench_road", "--gear", "3", "--load", "drive", "--seconds", "1",
                   "--bits", "16", "--quiet")
    expect(again.stdout.strip() == f"{folder}/gear-3-drive-02.wav", f"a new name: {again.stdout}")
    expect(np.array_equal(recorded(f"{folder}/gear-3-drive-02.wav"), said("road")[:RATE] >> 16), "16 bits")
    expect(np.array_equal(recorded(f"{folder}/gear-3-drive-01.wav"), x), "the first recording has changed")
    diagnosis = subprocess.run([PROGRAM, "speed", "--csv", folder, "1"], capture_output=True, text=True, check=False)
    expect(diagnosis.returncode == 0 and "2100" in diagnosis.stdout, "the job cannot be read by the other commands")


def check_warnings(env):
    folder = job("loud")
    done = record(env["loud"], folder, "--device", "bench_loud", "--gear", "4", "--seconds", "3")
    expect("clipped" in done.stdout, f"clipping is told: {done.stdout}")
    expect("Before anything turns" in done.stderr and "second person" in done.stderr, "cautions")
    expect(all(len(line) <= 80 for line in (done.stdout + done.stderr).splitlines()), "wider than 80 columns")


def check_refusals(env):
    folder = job("refused")
    cases = [(["--device", "none such"], 2, "no input device"), (["--device", "bench_road", "--gear", "9"], 2, "no gear"),
             (["--device", "bench_road", "--load", "uphill"], 2, "--load"), (["--rpm", "fast"], 2, "rpm"),
             (["--device", "bench_road", "--tach-channel", "3"], 2, "--channels"),
             (["--device", "bench_road", "--channel", "x"], 2, "channels are numbers"),
             (["--device", "bench_road", "--calibrate", "loud"], 2, "calibrator"),
             (["--device", "bench_road", "--calibrate", "94", "--seconds", "4"], 2, "steady tone")]
    for options, status, words in cases:
        done = record(env["road"], folder, *options)
        expect(done.returncode == status and words in done.stderr, f"{options}: {done.returncode} {done.stderr}")
    left = sorted(os.listdir(folder))
    expect(left == ["calibration-01.wav", "unit.ini"], f"something was left behind: {left}")
    done = record({**os.environ, "JACK_NO_START_SERVER": "1"}, folder, "--device", "bench_road", "--gear", "3")
    expect(done.returncode in (2, 3), f"no such device: {done.stderr}")
    done = record({**os.environ, "JACK_NO_START_SERVER": "1"}, folder, "--gear", "3")
    if done.returncode == 0:  # a machine with a sound card
        return
    expect(done.returncode == 3 and "no sound device" in done.stderr, f"no device: {done.stderr}")
    expect(len(done.stderr.splitlines()) == 1, f"only our own words: {done.stderr}")


def check_calibration(env):
    folder = job("calibrated")
    done = record(env["tone"], folder, "--device", "bench_tone", "--calibrate", "94", "--seconds", "5", "--json")
    expect(done.returncode == 0, done.stderr)
    answer = json.loads(done.stdout)
    # ISO 1683: 94 dB re 20 uPa is 1.00237 Pa; the tone is 0.05 of full scale, rms
    expect(answer["channel"] == 2 and abs(answer["full_scale"] / (1.00237 / 0.05) - 1) < 1e-3, f"{answer}")
    expect(abs(answer["hz"] - 1000) < 0.01, f"{answer}")
    done = record(env["tone"], folder, "--device", "bench_tone", "--calibrate", "10 m/s2", "--channel", "1",
                  "--seconds", "5")
    expect(done.returncode == 2 and "steady tone" in done.stderr, "channel 1 holds no tone")
    done = record(env["tone"], folder, "--device", "bench_tone", "--gear", "N", "--seconds", "2", "--channel", "2",
                  "--json")
    answer = json.loads(done.stdout)
    expect(answer["level_reference"] == "20 uPa", f"{answer}")
    expect(abs(answer["channels"][1]["level_db"] - 94) < 0.02, f"the calibrator's own level: {answer['channels']}")
    row = rows(folder)[0]
    expect(row["unit"] == "Pa" and abs(float(row["full_scale"]) - 20.047) < 0.01, f"row {row}")
    done = subprocess.run([PROGRAM, "record", folder, "--rescue"], capture_output=True, text=True, check=False)
    expect(done.stdout == "nothing to rescue\n", f"a calibration needs no row: {done.stdout}")
    both = record(env["tone"], folder, "--device", "bench_tone", "--gear", "N", "--seconds", "1")
    expect("channel 1 is not calibrated" in both.stdout, f"half calibrated: {both.stdout}")


def check_rescue(env):
    """Killed at any moment: the row is there, the file is readable, and the samples are those that were said."""
    folder = job("killed")
    random.seed(8)
    with_sound = 0
    for k in range(25):
        call = [PROGRAM, "record", folder, "--rate", str(RATE), "--channels", "2", "--device", "bench_road", "--gear", "2",
                "--load", "coast", "--note", "hill; 2", "--seconds", "10"]
        with subprocess.Popen(call, env=env["road"], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
                              stderr=subprocess.DEVNULL) as child:
            while child.poll() is None and not os.path.exists(f"{folder}/gear-2-coast-{k + 1:02}.wav"):
                time.sleep(0.0005)
            time.sleep(random.uniform(0, 0.02) ** 2 / 0.02)
            child.kill()
    table = {row["file"] for row in rows(folder)}
    files = {name for name in os.listdir(folder) if name.endswith(".wav")}
    for name in sorted(files):
        x = recorded(f"{folder}/{name}")
        expect(np.array_equal(x, said("road")[: len(x)]), f"{name}: not what was said")
        with_sound += 0 < len(x) < 10 * RATE
        expect(len(x) == 0 or name in table, f"{name}: no row")
    expect(with_sound > 0, f"only {with_sound} of 25 were killed while they recorded")
    one = sorted(name for name in files if os.path.getsize(f"{folder}/{name}") > 100000)[0]
    before = rows(folder)
    with open(f"{folder}/runs.csv", "w", encoding="utf-8") as out:
        out.write("file,gear,load,note\n")
        for row in before:
            if row["file"] != one:
                out.write(f'{row["file"]},2,coast,"hill; 2"\n')
    done = subprocess.run([PROGRAM, "record", folder, "--rescue", "--json"], capture_output=True, text=True, check=False)
    answer = json.loads(done.stdout)
    expect(answer["rows_added"] >= 1, f"rescue: {answer}")
    row = [row for row in rows(folder) if row["file"] == one]
    expect(len(row) == 1 and row[0]["gear"] == "2" and row[0]["load"] == "coast" and row[0]["note"] == "hill, 2",
           f"the row came back: {row}")
    for name in sorted(files):
        x = recorded(f"{folder}/{name}")
        expect(np.array_equal(x, said("road")[: len(x)]), f"{name}: not what was said after the rescue")
    done = subprocess.run([PROGRAM, "record", folder, "--rescue", "--json"], capture_output=True, text=True, check=False)
    answer = json.loads(done.stdout)
    expect(answer["recordings_made_whole"] == 0 and answer["rows_added"] == 0, f"twice: {answer}")


def check_meters(env):
    folder = job("meters")
    call = [PROGRAM, "record", folder, "--rate", str(RATE), "--channels", "2", "--gear", "3", "--device"]
    status, text = at_terminal(env["loud"], [(1.5, "q")], *call, "bench_loud")
    text = plain(text)
    expect(status == 0 and "ready for gear 3" in text and "RECORDING" not in text, "q leaves")
    expect("CLIPS: lower the gain" in text, "clipping is shown at once")
    expect(sorted(os.listdir(folder)) == ["unit.ini"], "nothing is left when nobody started")


def check_full_disk(env):
    """What fits is kept and told of; root is needed to make a small disk."""
    folder = job("full")
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", folder], capture_output=True, check=False)
    if mounted.returncode != 0:
        print("skipped: no small disk can be made here")
        return
    try:
        done = record(env["road"], folder, "--device", "bench_road", "--gear", "3", "--seconds", "20", "--json")
        answer = json.loads(done.stdout)
        expect(done.returncode == 3 and answer["ended_by"] == "disk", f"{done.returncode} {done.stderr} {done.stdout}")
        x = recorded(f"{folder}/gear-3-01.wav")
        expect(len(x) > 9 * RATE and np.array_equal(x, said("road")[: len(x)]), f"{len(x)} samples on a full disk")
        expect([row["file"] for row in rows(folder)] == ["gear-3-01.wav"], "the row of what fits")
        done = record(env["road"], folder, "--device", "bench_road", "--gear", "3", "--seconds", "1")
        expect(done.returncode == 3 and "No space left" in done.stderr, f"no room at all: {done.stderr[-300:]}")
        expect(sorted(os.listdir(folder)) == ["gear-3-01.wav", "runs.csv"], f"{os.listdir(folder)}")
    finally:
        subprocess.run(["umount", folder], check=False)


def check_walk(env):
    """Without a gear it goes through the plan: what is skipped is asked for again the next time, what is there is not."""
    folder = job("walk")
    call = [PROGRAM, "record", folder, "--rate", str(RATE), "--channels", "2", "--device", "bench_road", "--seconds", "1",
            "--countdown", "0"]
    ask = [PROGRAM, "plan", folder, "--json"]

    def open_recordings():
        plan = json.loads(subprocess.run(ask, capture_output=True, text=True, check=False).stdout)
        return [(r["gear"], r["load"]) for r in plan["recordings"] if not r["done"]]

    wanted = open_recordings()
    status, text = at_terminal(env["road"], [(1.2, "s"), (2.4, " "), (4.5, "q")], *call)
    text = plain(text)
    expect(status == 0 and f"1 of {len(wanted)}: gear {wanted[0][0]}" in text and "s: the next one" in text, text[-600:])
    made = [(row["gear"], row["load"]) for row in rows(folder)]
    expect(made == wanted[1:2], f"{made} of {wanted[:3]}")
    status, text = at_terminal(env["road"], [(1.5, "q")], *call)
    left = open_recordings()
    expect(wanted[0] in left and wanted[1] not in left and len(left) == len(wanted) - 1, f"{left}")
    expect(f"1 of {len(left)}: gear {left[0][0]}" in plain(text), "it goes on where the plan stands")


# ---- in real time ----


def is_part_of_road(x):
    """Whether it is a piece of what was said, without a gap; on the way through JACK samples are rounded to floats."""
    sound = np.flatnonzero(np.any(x != 0, axis=1))
    if len(sound) == 0:
        return False
    x = x[sound[0] :].astype(float)
    road = said("road").astype(float)
    starts = np.flatnonzero(np.all(np.abs(road - x[0]) < 2048, axis=1))
    return any(np.all(np.abs(road[at : at + len(x)] - x[: len(road) - at]) < 2048) for at in starts)


def check_keys(real, folder):
    call = [PROGRAM, "record", folder, "--device", "PortAudio", "--gear", "3", "--load", "drive", "--tach-channel", "2"]
    real.play_again()
    status, text = at_terminal(dict(os.environ), [(2.5, " "), (4.5, "\033[A"), (5.5, "\n")], *call, "--countdown", "1")
    before, _, after = plain(text).partition("RECORDING")
    expect(status == 0 and "starts after" in before and "ended by key" in after, f"keys: {plain(text)[-700:]}")
    expect(re.search("tach 2(099|100|101) rpm; bad pulses in 3 s: [1-9]", before), "the tach before the drive")
    expect(re.search("tach 2(099|100|101) rpm", after), "the tach during the drive")
    expect(is_part_of_road(recorded(f"{folder}/gear-3-drive-01.wav")), "not what was said, without a gap")
    status, text = at_terminal(dict(os.environ), [(1.5, "INT")], *call, "--now")
    expect(status == 0 and "ended by Ctrl-C" in plain(text), f"Ctrl-C keeps what there is: {plain(text)[-700:]}")


def check_kills(real, folder):
    """At most one second is lost, whenever it is killed."""
    call = [PROGRAM, "record", folder, "--device", "PortAudio", "--gear", "2", "--load", "coast"]
    for k in range(1, 11):
        if k % 5 == 1:
            real.play_again()
        name = f"{folder}/gear-2-coast-{k:02}.wav"
        with subprocess.Popen(call, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
                              stderr=subprocess.DEVNULL) as child:
            while child.poll() is None and not os.path.exists(name):
                time.sleep(0.001)
            begun = time.time()
            time.sleep(random.uniform(0, 2))
            child.kill()
            lasted = time.time() - begun
        x = recorded(name)
        expect(len(x) >= (lasted - 1) * RATE, f"{name}: killed after {lasted:.2f} s, {len(x) / RATE:.2f} s are there")
        expect(len(x) == 0 or is_part_of_road(x), f"{name}: not what was said, without a gap")
        expect(os.path.basename(name) in {row["file"] for row in rows(folder)}, f"{name}: no row")


def check_device_gone(real, folder):
    call = [PROGRAM, "record", folder, "--device", "system", "--gear", "4", "--json"]
    with subprocess.Popen(call, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                          text=True) as child:
        time.sleep(2)
        real.stop_server()
        out = child.communicate(timeout=20)[0]
    answer = json.loads(out)
    expect(child.returncode == 3 and answer["ended_by"] == "device", f"the device has gone: {out}")
    expect(answer["duration_s"] > 1, f"what came before is kept: {out}")
    expect(rows(folder)[-1]["file"] == "gear-4-01.wav", "row")


def check_in_real_time():
    if not shutil.which("jackd"):
        print("skipped: no JACK server here, nothing was recorded in real time")
        return
    real = RealTime("road", said("road"))
    folder = job("paced")
    try:
        check_keys(real, folder)
        check_kills(real, folder)
        check_device_gone(real, folder)
    finally:
        real.close()


def main():
    env = make_devices()
    listed = subprocess.run([PROGRAM, "record", "--devices"], env=env["road"], capture_output=True, text=True, check=False)
    if "bench_road" not in listed.stdout:
        print("skipped: no virtual sound device here")
        return 77
    check_recording(env)
    check_warnings(env)
    check_refusals(env)
    check_calibration(env)
    check_rescue(env)
    check_meters(env)
    check_walk(env)
    check_full_disk(env)
    check_in_real_time()
    return failed


try:
    status = main()
finally:
    shutil.rmtree(place)
sys.exit(status)
