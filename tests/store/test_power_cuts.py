"""Nothing that was acknowledged is lost: programs killed while they write, two that write at once, a server that falls."""

import random
import signal
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from pathlib import Path

import pytest

from coilwright.errors import CoilwrightError
from coilwright.store.backup import restore
from coilwright.store.opening import open_store
from tests.store import postgres
from tests.store.filled import content, fill
from tests.store.test_opening import old_file, rows

ROOT = Path(__file__).parents[2]


def writer(place, name, seed, *more):
    command = [sys.executable, "-m", "tests.store.writer", str(place), name, str(seed), *map(str, more)]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)


def killed(place, name, seed, chance):
    """Lines that a writer said before it was killed: while it opens the store, or somewhere in its writing."""
    process = writer(place, name, seed)
    lines = []
    early = chance.random() < 0.1
    timer = threading.Timer(0.9 * chance.random() if early else 30.0, process.kill)
    timer.start()
    with process.stdout as said:
        for line in said:
            lines.append(line)
            if len(lines) == 1 and not early:
                timer.cancel()
                timer = threading.Timer(0.15 * chance.random(), process.kill)
                timer.start()
    timer.cancel()
    assert process.wait() == -signal.SIGKILL
    return [line.split() for line in lines if line.endswith("\n")]


def missing(store, name, said):
    """What was acknowledged and is not there, or is not whole."""
    versions = {v.number: v for v in store.versions_of(name)} if said else {}
    out = []
    for kind, number, *rest in said:
        if kind == "version":
            found = versions.get(int(number))
            good = found is not None and found.digest == rest[0]
        else:
            sheet = store.trial(int(number))
            good = sheet.coil == rest[0] and len(sheet.trace) == int(rest[1])
        out += [] if good else [(kind, number)]
    return out


def cut_power(tmp_path, times, seed):
    place, chance, acknowledged = tmp_path / "store.db", random.Random(seed), 0
    for k in range(times):
        name = f"job {k % 7}"
        said = killed(place, name, k, chance)
        acknowledged += len(said)
        if place.exists():
            with closing(sqlite3.connect(place)) as raw:
                assert raw.execute("pragma integrity_check").fetchone() == ("ok",)
                assert raw.execute("pragma foreign_key_check").fetchall() == []
        with open_store(place) as store:
            assert missing(store, name, said) == []
    assert acknowledged > times, "the programs were killed before they wrote anything: nothing was shown"


def test_killed_while_writing(tmp_path):
    cut_power(tmp_path, 20, 1)


@pytest.mark.slow
def test_killed_while_writing_two_hundred_times(tmp_path):
    cut_power(tmp_path, 200, 2)


def killed_while(code, *arguments, after):
    """Run a piece of Python that says "now" when it begins, and kill it `after` s later; whether it was faster."""
    process = subprocess.Popen(
        [sys.executable, "-c", code, *map(str, arguments)], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )
    with process.stdout as said:
        assert said.readline() == "now\n"
        timer = threading.Timer(after, process.kill)
        timer.start()
        done = said.read() == "done\n"
    timer.cancel()
    process.wait()
    return done


RESTORE = """
import sys
from coilwright.store import backup, migrate
migrate.scripts()
print("now", flush=True)
backup.restore(sys.argv[1], sys.argv[2], replace=True)
print("done", flush=True)
"""


def test_killed_while_a_backup_is_put_back(tmp_path):
    place, chance, ended = tmp_path / "store.db", random.Random(3), []
    with open_store(tmp_path / "other.db") as store:
        for k in range(200):
            store.keep_job(f"job {k}", f"{k}" + "y" * 4000)
        wanted = content(store)
        store.back_up(tmp_path / "other.zip")
    with open_store(place) as store:
        before = content(fill(store))
        store.back_up(tmp_path / "before.zip")
    for k in range(6):
        ended.append(killed_while(RESTORE, place, tmp_path / "other.zip", after=0.06 * (k + chance.random())))
        with open_store(place) as store:
            found = content(store)
        assert found in (before, wanted)
        assert found == wanted or not ended[-1]
        restore(place, tmp_path / "before.zip", replace=True)
    assert not all(ended), "every one was faster than the power cut: nothing was shown"


OPEN_OLD = """
import sys
from coilwright.store import database, migrate
migrate.scripts()
import alembic.operations, alembic.runtime.migration
print("now", flush=True)
database.Database(sys.argv[1]).close()
print("done", flush=True)
"""


def test_killed_while_an_old_shot_log_is_taken_over(tmp_path):
    names, chance = ("machine", "delivery", "shot", "aside"), random.Random(5)
    for k in range(6):
        path = old_file(tmp_path / f"{k}.db")
        before = rows(path, *names)
        killed_while(OPEN_OLD, path, after=0.02 * (k + chance.random()))
        open_store(path).close()
        assert rows(path, *names) == before


def test_two_programs_write_at_once(place):
    names = ("press", "press", "other")  # two of them add versions to the same job
    programs = [writer(place, name, seed, 12) for seed, name in enumerate(names)]
    said = []
    for process in programs:
        with process.stdout as lines:
            said.append([line.split() for line in lines])
        assert process.wait() == 0
    with open_store(place) as store:
        for name, lines in zip(names, said, strict=True):
            assert len(lines) == 24
            assert missing(store, name, lines) == []
        assert [v.number for v in store.versions_of("press")] == list(range(1, 25))
        assert len(store.trials_of("other")) == 12


def test_the_server_falls_while_a_program_writes():
    postgres.need()
    server = postgres.Server()
    try:
        server.start()
        place, said = server.address(), []
        for turn in range(3):
            with open_store(place) as store:
                timer = threading.Timer(0.3, server.stop, (signal.SIGQUIT,))
                timer.start()
                with pytest.raises(CoilwrightError, match=r"cannot be reached or was lost .*try again") as error:
                    for k in range(100_000):
                        kept = store.keep_job("press", f"format = 1\n# {turn} {k}\n" + "x" * 9000)
                        said.append(("version", kept.number, kept.digest))
                assert "smith" not in str(error.value) or "://smith@" in str(error.value)
                timer.join()
                server.start()
                assert missing(store, "press", said) == []  # the same store goes on once the server is back
        assert len(said) > 10
    finally:
        server.remove()
