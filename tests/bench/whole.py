#!/usr/bin/python3
"""What diagnose costs, as ratios within one run of this program: to the floor (bench_floor: decoding and bare
transforms), to the same analysis in numpy and scipy (plain_analysis.py), on two processors, over length and channels.

    tests/bench/whole.py BUILD [SCRATCH]    BUILD: build folder with tests; 2 GB of scratch space are used"""
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

here = Path(__file__).resolve().parent
build = Path(sys.argv[1]).resolve()
program = build / "layshaft"
environment = dict(os.environ, OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1")


def run(*command):
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.monotonic()
    done = subprocess.run([str(c) for c in command], stdout=subprocess.PIPE, env=environment, check=True)
    wall = time.monotonic() - start
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, done.stdout


def best(times, *command):
    return min((run(*command) for _ in range(times)), key=lambda r: r[0])


def memory_mb(*command):
    done = subprocess.run(["/usr/bin/env", "time", "-f", "%M", *map(str, command)], stdout=subprocess.DEVNULL,
                          stderr=subprocess.PIPE, env=environment, check=True, text=True)
    return int(done.stderr.split()[-1]) / 1024


def simulate(out, seconds, rate, runs, channels):
    """A job with a tach of `runs` runs; a second one beside it without."""
    narrow = out.with_name(out.name + "-narrow")
    run(program, "simulate", narrow, "--world", "road", "--seed", "42", "--seconds", seconds, "--rate", rate)
    out.mkdir()
    (out / "unit.ini").write_text((narrow / "unit.ini").read_text())
    lines = (narrow / "runs.csv").read_text().splitlines()[: runs + 1]
    names = lines[0].split(",")
    rows = [dict(zip(names, line.split(","))) for line in lines[1:]]
    blind = out.with_name(out.name + "-no-tach")
    blind.mkdir()
    (blind / "unit.ini").write_text((narrow / "unit.ini").read_text())
    for row in rows:
        run(build / "tests" / "bench_widen", narrow / row["file"], out / row["file"], channels)
        (blind / row["file"]).symlink_to(out / row["file"])
        row["tach_channel"] = str(channels)
    write_table(out / "runs.csv", names, rows)
    for row in rows:
        row["tach_channel"] = ""
        row["channel"] = "+".join(str(c + 1) for c in range(channels - 1))
    write_table(blind / "runs.csv", names + (["channel"] if "channel" not in names else []), rows)
    subprocess.run(["rm", "-rf", str(narrow)], check=True)
    return [out / row["file"] for row in rows], blind


def write_table(path, names, rows):
    path.write_text("\n".join([",".join(names)] + [",".join(row.get(n, "") for n in names) for row in rows]) + "\n")


def diagnose(job, threads, scratch):
    return [program, "diagnose", "--json", "--quiet", "--no-plots", "--no-sound", "--threads", threads, "--output",
            scratch / "report", job]


def table(title, job, files, blind, scratch, times):
    floor = min(float(run(build / "tests" / "bench_floor", *files)[2]) for _ in range(times))
    tach = best(times, *diagnose(job, 1, scratch))
    two = best(times, *diagnose(job, 2, scratch))
    none = best(times, *diagnose(blind, 1, scratch))
    plain = len(files) * best(1, here / "plain_analysis.py", job, 1)[0]  # of one run: it is slow
    print(f"\n{title}: floor {floor:.2f} s\n")
    print("| what | s | times the floor | script takes times as long |\n|---|---|---|---|")
    for name, t in (("diagnose, tach, one thread", tach), ("diagnose, no tach, one thread", none),
                    ("diagnose, tach, two threads", two), ("numpy script", (plain,))):
        print(f"| {name} | {t[0]:.2f} | {t[0] / floor:.1f} | {plain / t[0]:.1f} |")
    print(f"\ntwo threads: {tach[0] / two[0]:.2f} times as fast", flush=True)
    assert json.loads(tach[2])["verdict"]["outcome"] == json.loads(two[2])["verdict"]["outcome"]


def growth(scratch):
    """Cost and memory over length and over channels."""
    print("\n| seconds | channels | processor time s | memory MB |\n|---|---|---|---|")
    for seconds, channels in ((150, 2), (300, 2), (600, 2), (300, 4), (300, 8)):
        job = scratch / f"grow-{seconds}-{channels}"
        simulate(job, seconds, 48000, 1, channels)
        command = diagnose(job, 1, scratch)
        print(f"| {seconds} | {channels} | {best(2, *command)[1]:.2f} | {memory_mb(*command):.0f} |", flush=True)
        subprocess.run(["rm", "-rf", str(job), str(job) + "-no-tach"], check=True)


def main():
    with tempfile.TemporaryDirectory(dir=sys.argv[2] if len(sys.argv) > 2 else None) as folder:
        scratch = Path(folder)
        files, blind = simulate(scratch / "small", 12, 48000, 5, 2)
        table("five runs of 12 s, 2 channels, 48 kHz", scratch / "small", files, blind, scratch, 3)
        files, blind = simulate(scratch / "big", 150, 51200, 4, 8)
        table("ten minutes in four runs, 8 channels, 51.2 kHz", scratch / "big", files, blind, scratch, 1)
        growth(scratch)


if __name__ == "__main__":
    main()
