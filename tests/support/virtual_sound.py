"""Virtual sound devices for the tests, and a terminal at which keys are pressed."""

import fcntl
import os
import pty
import re
import select
import signal
import struct
import subprocess
import tempfile
import termios
import time

import numpy as np
from scipy.io import wavfile

PROGRAM = os.environ.get("LAYSHAFT_PROGRAM", "build/layshaft")
PLAYER = os.environ.get("LAYSHAFT_PLAY_SOUND", "build/tests/reference/play_sound")
SOURCE = os.environ.get("LAYSHAFT_SOURCE", ".")
CHANNELS = 2
RATE = 48000
place = tempfile.mkdtemp()
# A server of its own, whatever else runs; always the same one, because JACK keeps a list of eight.
os.environ["JACK_DEFAULT_SERVER"] = "bench"


# ---- virtual devices: files that are heard again and again ----


def device(name, samples):
    """A device bench_NAME that gives these samples; the environment in which it is there."""
    (np.clip(samples, -1, 1) * 8388607).astype("<i4").__mul__(256).tofile(f"{place}/{name}.raw")
    with open(f"{place}/{name}.conf", "w", encoding="utf-8") as conf:
        conf.write(
            f"""</usr/share/alsa/alsa.conf>
pcm.bench_{name} {{
 type plug
 slave {{
  pcm {{ type file
   slave.pcm null
   file "/dev/null"
   infile "{place}/{name}.raw"
   format raw }}
  format S32_LE
  channels {CHANNELS}
  rate {RATE} }}
 hint {{ show on description "bench {name}" }}
}}
"""
        )
    return {**os.environ, "ALSA_CONFIG_PATH": f"{place}/{name}.conf"}


def said(name):
    return np.fromfile(f"{place}/{name}.raw", dtype="<i4").reshape(-1, CHANNELS)


def at_terminal(env, keys, *call, chunks=None):
    """What a terminal of 24 x 80 gets when keys are pressed at these times; 'INT' is a signal."""
    pid, terminal = pty.fork()
    if pid == 0:
        os.environ.update(env, TERM="xterm")
        os.execv(call[0], call)
    fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    start, out = time.time(), b""
    while time.time() - start < 60:
        if select.select([terminal], [], [], 0.02)[0]:
            try:
                more = os.read(terminal, 65536)
            except OSError:
                more = b""
            if not more:
                break
            out += more
            if chunks is not None:
                chunks.append((time.time() - start, more.decode(errors="replace")))
        if keys and time.time() - start > keys[0][0]:
            key = keys.pop(0)[1]
            if key == "INT":
                os.kill(pid, signal.SIGINT)
            else:
                os.write(terminal, key.encode())
    return os.waitpid(pid, 0)[1] >> 8, out.decode(errors="replace")


def plain(text):
    """Without colours, and with blanks for line ends."""
    return " ".join(re.sub(r"\x1b\[[0-9;]*[A-Za-z]", "", text).split())


# ---- in real time ----


class RealTime:
    """A JACK server with a dummy device, and a player whose sound can be recorded from the device PortAudio."""

    def __init__(self, name, samples):
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        wavfile.write(f"{place}/{name}.wav", RATE, samples)
        self.player = None
        self.server = subprocess.Popen(["jackd", "-n", os.environ["JACK_DEFAULT_SERVER"], "-r", "-d", "dummy", "-r", str(RATE), "-p", "512", "-C", "2"], **quiet)
        self.wait_for("system")
        self.play = lambda: subprocess.Popen([PLAYER, f"{place}/{name}.wav", "system"], **quiet)
        self.play_again()

    def wait_for(self, name):
        for _ in range(100):
            time.sleep(0.05)
            listed = subprocess.run([PROGRAM, "record", "--devices"], capture_output=True, text=True, check=False)
            if name in listed.stdout:
                return
        raise RuntimeError(f"no device {name} in real time")

    def play_again(self):
        if self.player:
            self.player.kill()
            self.player.wait()
        self.player = self.play()
        self.wait_for("PortAudio")

    def close(self):
        self.player.kill()
        self.player.wait()
        self.stop_server()

    def stop_server(self):
        """Asked to end, it takes itself off JACK's list."""
        self.server.terminate()
        try:
            self.server.wait(5)
        except subprocess.TimeoutExpired:
            self.server.kill()
            self.server.wait()
