"""A worker process that is killed, a clock that is set: one sentence and no hang; no row lost."""

import os
import signal
from datetime import UTC, datetime, timedelta

import pytest

import coilwright as cw
from coilwright.errors import CoilwrightError
from coilwright.line.log import add_log
from coilwright.line.mapping import read_map
from coilwright.seek import workers as seek_workers
from coilwright.store.shots import ShotStore
from coilwright.trials import runs
from coilwright.window import pool
from tests.line.test_log import HEAD, MAP, NOW

HERE = os.getpid()


def end_if_worker():
    """What a system short of memory does to a process."""
    if os.getpid() != HERE:
        os.kill(os.getpid(), signal.SIGKILL)


class Ended:
    """Work that ends its worker."""

    def run(self, *task):
        end_if_worker()

    def __call__(self, *task):
        end_if_worker()


def test_a_killed_worker_of_the_window_is_told():
    with pytest.raises(CoilwrightError, match="a worker process was ended") as caught:
        pool.run_all(Ended(), [({}, 1.0)] * 6, 2, lambda n: None)
    assert "\n" not in str(caught.value)
    assert caught.value.exit_code == 3


def test_a_killed_worker_of_a_trial_is_told(monkeypatch):
    monkeypatch.setattr(runs, "run", ended)
    with pytest.raises(CoilwrightError, match="a worker process was ended"):
        runs.run_all([cw.loads(cw.template("ring-through-glass"))] * 4, 1.0, workers=2)


def ended(*task):
    end_if_worker()


def test_a_killed_worker_of_the_search_is_told():
    with pytest.raises(CoilwrightError, match="a worker was lost"), seek_workers._pool(Ended(), 2) as run:
        list(run([(None, None)] * 4))


START = datetime(2026, 5, 4, 8, 0)


def rows(*clocks):
    """One row for each time (minutes after the start) as the machine's clock says it."""
    return [f"{(START + timedelta(minutes=m)).isoformat()};{k % 6 + 1};OK;T{k};A;4800" for k, m in enumerate(clocks)]


CLOCKS = {
    "back by a day": [*range(20), *(m - 1440 for m in range(20, 40)), *range(40, 50)],
    "back by an hour, as in autumn": [*range(20), *(m - 60 for m in range(20, 90))],
    "forward by an hour, as in spring": [*range(20), *(m + 60 for m in range(20, 40))],
    "to 1970": [*range(20), *(m - 29_600_000 for m in range(20, 30)), *range(30, 40)],
    "to 2099": [*range(20), *(m + 38_000_000 for m in range(20, 30)), *range(30, 40)],
}


@pytest.mark.parametrize("how", CLOCKS)
def test_no_row_is_lost_when_the_clock_is_set(tmp_path, how):
    """A row is kept or set aside with the reason; a later delivery on a right clock is taken whole."""
    (tmp_path / "map.toml").write_text(MAP, encoding="utf-8")
    mapping = read_map(tmp_path / "map.toml")
    wrong, right = tmp_path / "wrong.csv", tmp_path / "right.csv"
    wrong.write_text(HEAD + "\n".join(rows(*CLOCKS[how])) + "\n", encoding="utf-8")
    right.write_text(HEAD + "\n".join(rows(*range(2000, 2030))) + "\n", encoding="utf-8")
    with ShotStore(tmp_path / "log.db") as store:
        got = add_log(wrong, mapping, store, NOW)
        assert got.rows == len(CLOCKS[how]) == got.written + sum(got.aside.values())
        assert got.written >= 20
        assert set(got.aside) <= {"clock", "future", "late", "time"}
        kept, last = store.tally("press 2", ["station"]).tried.sum(), store.span("press 2")[1]
        assert kept == got.written
        assert last <= NOW
        assert add_log(wrong, mapping, store, NOW).written == 0
        assert add_log(right, mapping, store, NOW).written == 30


def test_the_clock_of_this_computer_may_stand_wrong(tmp_path):
    """A computer whose own clock fell back to 1970 takes the rows for those of the future: aside, told, and read again later."""
    (tmp_path / "map.toml").write_text(MAP, encoding="utf-8")
    file = tmp_path / "log.csv"
    file.write_text(HEAD + "\n".join(rows(*range(12))) + "\n", encoding="utf-8")
    mapping = read_map(tmp_path / "map.toml")
    with ShotStore(tmp_path / "log.db") as store:
        got = add_log(file, mapping, store, datetime(1970, 1, 2, tzinfo=UTC).timestamp())
        assert dict(got.aside) == {"future": 12}
        assert add_log(file, mapping, store, NOW).written == 12
