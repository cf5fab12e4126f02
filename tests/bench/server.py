"""A real server in a process of its own, and a browser to look at it."""

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

import coilwright as cw

BROWSER = shutil.which("chromium") or "/usr/bin/chromium"
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--no-first-run",
]  # fmt: skip
RING = cw.template("ring-through-glass")
# The same ring with a shot of a second and no charge: what the page does, not how long a shot takes, is looked at here.
SHORT = (
    RING.replace('on_time = "8 s"', 'on_time = "1.5 s"')
    .replace('charge = { mass = "60 mg", kind = "barium-aluminium/nickel" }\n', "")
    .replace(
        '[[accept]]\nbody = "ring"\ncharge_fired = 0.95                 # share of the charge that has reacted at the end\n',
        "",
    )
    .replace('reaches = "850 degC"', 'reaches = "210 degC"')
    .replace('within = "6 s"', 'within = "1.4 s"')
)


class Server:
    """`coilwright bench` on a free port of its own."""

    def __init__(self, folder, *options, job="job.toml"):
        self.folder, self.talk = folder, folder / "talk.txt"
        self.command = [sys.executable, "-m", "coilwright", "bench", *([job] if job else []), "--no-browser", *options]
        self.start()

    def start(self, port=0):
        environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
        for name in [n for n in environment if n.startswith(("PYTEST", "NICEGUI"))]:
            del environment[name]
        with self.talk.open("w") as talk:
            self.process = subprocess.Popen(
                [*self.command, "--port", str(port)], cwd=self.folder, env=environment, stdout=talk, stderr=talk
            )
        wait_for(self.listens, 20)

    def listens(self):
        """Whether the address has been told and something answers there."""
        match = re.search(r"http://\S+:(\d+)(/\S*)", self.talk.read_text())
        assert match or self.alive, self.talk.read_text()
        if match:
            self.port, self.address = int(match[1]), match[0]
        return bool(match) and self.answers()

    def answers(self):
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    @property
    def alive(self):
        return self.process.poll() is None

    def kill(self):
        """As a crash would: no chance to tidy up."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(10)

    def stop(self):
        if self.alive:
            self.process.send_signal(signal.SIGINT)
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.kill()


def wait_for(holds, seconds=30.0):
    """Look until something holds; fail when it does not in time."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if holds():
            return
        time.sleep(0.05)
    pytest.fail(f"did not come about in {seconds:g} s: {getattr(holds, '__name__', holds)}")


def need_browser():
    if not Path(BROWSER).exists():
        if os.environ.get("CI"):
            pytest.fail("chromium must be installed where CI=true")
        pytest.skip("chromium is not installed (CI installs it)", allow_module_level=True)
