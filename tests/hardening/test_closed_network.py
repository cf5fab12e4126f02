"""Every network face is closed until asked for: no command opens a socket, and the page listens on this computer alone."""

import re
import sys
from pathlib import Path

import pytest

from tests.bench.server import SHORT, Server
from tests.journeys.calling import cli
from tests.journeys.test_examples import EXAMPLES

GETTER = EXAMPLES / "indicator-tube-getter"
opened: list[str] | None = None


def watch(event, arguments):
    """Once set, a hook stays for the life of the process; it only listens while a test asks it to."""
    if opened is not None and event in ("socket.bind", "socket.connect", "socket.sendto", "socket.getaddrinfo"):
        opened.append(f"{event} {arguments[1:]}")


@pytest.fixture(scope="module")
def hooked():
    sys.addaudithook(watch)


@pytest.fixture
def sockets(hooked):
    global opened
    opened = []
    yield opened
    opened = None


def test_the_hook_sees_a_socket(sockets):
    import socket

    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
    assert len(sockets) == 1


def test_no_command_opens_a_socket(sockets, tmp_path):
    job, case, store = GETTER / "job.toml", tmp_path / "case", tmp_path / "s.db"
    for words in (
        ("new", tmp_path / "new.toml"),
        ("check", job, "--out", tmp_path / "check"),
        ("quick", job),
        ("field", job),
        ("heat", job),
        ("tank", GETTER / "with-tank.toml"),
        ("materials", "copper"),
        ("line", "rehearse", job, "--out", case),
        ("line", "add", case / "log.csv", "--map", case / "map.toml", "--store", store),
        ("line", "show", "--store", store),
        ("keep", job, "--store", tmp_path / "jobs.db"),
        ("find", job, "--store", tmp_path / "jobs.db"),
    ):
        code, _, err = cli(*words)
        assert code == 0, (words, err)
        assert sockets == [], words


def listening(pid):
    """Local addresses (as the kernel prints them) at which a process and its children listen."""
    pids, nodes = [pid], set()
    for p in pids:
        for task in Path(f"/proc/{p}/task").glob("*/children"):
            pids += [int(c) for c in task.read_text().split()]
        for link in Path(f"/proc/{p}/fd").iterdir():
            try:
                match = re.match(r"socket:\[(\d+)\]", str(link.readlink()))
            except OSError:
                continue
            if match:
                nodes.add(match[1])
    out = set()
    for table in ("tcp", "tcp6"):
        for line in Path(f"/proc/net/{table}").read_text().splitlines()[1:]:
            cells = line.split()
            if cells[3] == "0A" and cells[9] in nodes:
                out.add(cells[1].split(":")[0])
    return out


def test_the_page_listens_on_this_computer_alone(tmp_path):
    (tmp_path / "job.toml").write_text(SHORT, encoding="utf-8")
    server = Server(tmp_path)
    try:
        assert listening(server.process.pid) == {"0100007F"}
    finally:
        server.stop()


def test_the_page_is_not_opened_to_others_without_a_word():
    """One sentence instead of an open door."""
    code, _, err = cli("bench", GETTER / "job.toml", "--host", "0.0.0.0", "--no-browser")
    assert code == 2
    assert "--token" in err
    assert len(err.strip().splitlines()) == 1
