"""A real PostgreSQL of its own for the tests: made in a temporary folder, on a free port, gone afterwards."""

import contextlib
import os
import pwd
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from pathlib import Path

import pytest


def program(name):
    """Path of a program of PostgreSQL, which Debian keeps out of PATH; None when it is not installed."""
    found = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"), key=lambda p: int(p.parts[-3]))
    return shutil.which(name) or (str(found[-1]) if found else None)


def need():
    """Skip without PostgreSQL, but fail where CI=true."""
    if program("initdb") is None or program("postgres") is None:
        assert os.environ.get("CI") != "true", "PostgreSQL must be installed where CI=true"
        pytest.skip("PostgreSQL is not installed (CI installs it)")


class Server:
    """`start`, `stop`, `kill`; `address()` of an empty database."""

    def __init__(self):
        self.folder = Path(tempfile.mkdtemp(prefix="pg-"))
        self.who = {}
        if os.geteuid() == 0:  # it refuses to run as root
            entry = pwd.getpwnam("postgres")
            self.who = {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []}
            os.chown(self.folder, entry.pw_uid, entry.pw_gid)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        command = [
            program("initdb"),
            "-D",
            self.folder / "data",
            "-U",
            "smith",
            "-A",
            "trust",
            "-E",
            "UTF8",
            "--locale=C",
        ]
        subprocess.run([*command, "--no-sync"], check=True, capture_output=True, cwd="/", **self.who)
        self.process = None

    def start(self):
        command = [program("postgres"), "-D", self.folder / "data", "-p", str(self.port), "-k", self.folder]
        log = (self.folder / "log").open("ab")
        with log:
            self.process = subprocess.Popen(
                # without waiting for the disk: what the operating system holds outlives the program
                [*command, "-c", "listen_addresses=127.0.0.1", "-c", "fsync=off"],
                stdout=log,
                stderr=log,
                cwd="/",
                **self.who,
            )
        import psycopg

        until = time.monotonic() + 30
        while True:
            with contextlib.suppress(psycopg.OperationalError), self.connection():
                return
            assert time.monotonic() < until and self.process.poll() is None, (self.folder / "log").read_text()
            time.sleep(0.05)

    def connection(self, name="postgres"):
        import psycopg

        return psycopg.connect(host="127.0.0.1", port=self.port, user="smith", dbname=name, autocommit=True)

    def address(self):
        """Address of an empty database: always the same one, emptied, since each takes hundreds of files."""
        with self.connection() as connection:
            connection.execute("drop schema public cascade")
            connection.execute("create schema public")
        return f"postgresql://smith@127.0.0.1:{self.port}/postgres"

    def stop(self, how=signal.SIGINT):
        """SIGINT stops it in order, SIGQUIT at once as in a power cut."""
        if self.process is not None:
            self.process.send_signal(how)
            self.process.wait(30)
            self.process = None

    def remove(self):
        self.stop(signal.SIGQUIT)
        shutil.rmtree(self.folder, ignore_errors=True)
