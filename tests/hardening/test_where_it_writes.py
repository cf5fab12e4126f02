"""A folder that is read-only, a disk that is full, a file in the way: one sentence from every command that writes."""

import functools
import os
import resource
import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.journeys.calling import asked, cli
from tests.journeys.test_examples import EXAMPLES

GETTER = EXAMPLES / "indicator-tube-getter"
JOB, MACHINE, SIX = GETTER / "job.toml", GETTER / "with-tank.toml", GETTER / "six-stations.toml"
COMMANDS = {
    "check": (JOB,),
    "quick": (JOB,),
    "field": (JOB,),
    "heat": (JOB,),
    "tank": (MACHINE,),
    "window": (SIX,),
    "seek": (GETTER / "seek.toml",),
    "pack": (MACHINE,),
    "materials": ("copper",),
    "demo": (),
    "line rehearse": (JOB,),
    "why": (JOB,),
}


def command(name, out):
    return (*name.split(), *COMMANDS[name], "--out", out)


def one_sentence(got, *codes):
    code, _, err = got
    assert code in codes, (code, err)
    assert len(err.strip().splitlines()) == 1, err
    assert "Traceback" not in err
    assert "fault of coilwright itself" not in err
    return err


@contextmanager
def ordinary_user():
    """As one whom the modes of files bind; root is not."""
    if os.geteuid() != 0:
        yield
        return
    os.setegid(65534)
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)
        os.setegid(0)


@pytest.fixture
def locked():
    """A folder that holds a file and takes no more."""
    folder = Path(tempfile.mkdtemp(dir="/tmp"))
    (folder / "kept.txt").write_text("kept", encoding="utf-8")
    folder.chmod(0o555)
    yield folder
    folder.chmod(0o755)
    assert [p.name for p in folder.iterdir()] == ["kept.txt"]
    shutil.rmtree(folder)


def as_ordinary(call, folder):
    """Calls that name `folder` as an ordinary user; the rest as whoever runs the tests, whose libraries others may not read."""

    @functools.wraps(call)
    def bound(*arguments, **named):
        if str(folder) not in f"{arguments}{named}":
            return call(*arguments, **named)
        with ordinary_user():
            return call(*arguments, **named)

    return bound


@pytest.fixture
def bound(monkeypatch, locked):
    monkeypatch.setattr(Path, "mkdir", as_ordinary(Path.mkdir, locked))
    monkeypatch.setattr(tempfile, "TemporaryFile", as_ordinary(tempfile.TemporaryFile, locked))


def test_every_command_that_writes_is_here():
    from coilwright.cli.main import app

    listed = {c.name or c.callback.__name__: c for c in app.registered_commands}
    writes = {name for name, c in listed.items() if "out" in c.callback.__annotations__}
    assert writes - {"trial"} == {n for n in COMMANDS if " " not in n}


@pytest.mark.parametrize("name", COMMANDS)
def test_a_read_only_folder_is_told_before_anything_is_computed(name, locked, bound):
    told = one_sentence(cli(*command(name, locked)), 2)
    assert "can be written" in told
    assert str(locked) in told
    one_sentence(cli(*command(name, locked / "below")), 2)


@pytest.mark.parametrize("name", COMMANDS)
def test_a_file_in_the_way_is_left_alone(name, tmp_path):
    (tmp_path / "taken").write_text("kept", encoding="utf-8")
    assert "must be a folder" in one_sentence(cli(*command(name, tmp_path / "taken")), 2)
    one_sentence(cli(*command(name, tmp_path / "taken" / "below")), 2)
    assert (tmp_path / "taken").read_text(encoding="utf-8") == "kept"


@contextmanager
def no_file_longer_than(size):
    """What a full disk does, without one: writing beyond `size` bytes fails."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


QUICK = ["check", "materials", "field", "line rehearse"]


@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=() if n in QUICK else pytest.mark.slow) for n in COMMANDS if n != "quick"]
)
def test_a_full_disk_is_told(name, tmp_path):
    words = command(name, tmp_path)
    if name == "window":
        words += ("--runs", 20, "--shots", 500, "--workers", 1, "--no-readings", "--reshoot", 0)
    if name == "seek":
        words += ("--evaluations", 8, "--workers", 1)
    with no_file_longer_than(300):
        one_sentence(cli(*words), 3)


def test_a_new_job_file_on_a_full_disk_and_over_another(tmp_path):
    with no_file_longer_than(300):
        one_sentence(cli("new", tmp_path / "job.toml"), 3)
    mine = tmp_path / "mine.toml"
    mine.write_text("mine", encoding="utf-8")
    one_sentence(cli("new", mine), 2)
    assert mine.read_text(encoding="utf-8") == "mine"


def test_a_log_on_a_full_disk_loses_nothing_kept(tmp_path):
    case = tmp_path / "case"
    asked("line", "rehearse", JOB, "--out", case, "--fault", "coil-back", "--size", 1.0)
    store, log = tmp_path / "s.db", (case / "log.csv").read_text(encoding="utf-8")
    asked("line", "add", case / "log.csv", "--map", case / "map.toml", "--store", store)
    before = asked("line", "show", "--store", store)["tried"]
    long = tmp_path / "long.csv"
    head, *lines = log.splitlines()
    days = [f"2026-{2 + k // 25:02d}-{1 + k % 25:02d}T" for k in range(75)]
    more = [line.replace("2026-01-05T", day) for day in days for line in lines]
    long.write_text("\n".join([head, *more]) + "\n", encoding="utf-8")
    with no_file_longer_than(200_000):
        one_sentence(cli("line", "add", long, "--map", case / "map.toml", "--store", store), 2, 3)
    assert asked("line", "show", "--store", store)["tried"] == before
