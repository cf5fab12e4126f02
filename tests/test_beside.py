"""Work on a process of its own: handed over when asked for, faults included, and without a thread left to be forked."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time

import pytest

from coilwright.beside import begun, processors
from coilwright.errors import BadInput, CoilwrightError, Fault


@pytest.mark.parametrize("workers", [1, 2])
def test_begun_work_is_handed_over_when_asked_for(workers: int) -> None:
    known = {"here": 20}  # what the other process is forked with
    with begun(lambda: known["here"] + 1, workers) as found:
        assert found() == 21
        assert found() == 21  # as often as anybody asks


def test_begun_work_has_a_process_of_its_own_and_no_thread() -> None:
    before = threading.active_count()
    with begun(os.getpid, 2) as found:
        assert threading.active_count() == before
        assert found() != os.getpid()


@pytest.mark.parametrize("workers", [1, 2])
def test_fault_of_begun_work_reaches_who_asks(workers: int) -> None:
    def fails() -> float:
        raise BadInput(Fault("setting", "must be reached by the runs"))

    with begun(fails, workers) as found, pytest.raises(BadInput, match="must be reached by the runs"):
        found()


def test_what_cannot_be_sent_is_a_fault_not_a_wait() -> None:
    with begun(threading.Lock, 2) as found, pytest.raises(TypeError, match="pickle"):
        found()


def test_process_ended_from_outside_is_told_in_one_sentence() -> None:
    with begun(lambda: os.kill(os.getpid(), 9), 2) as found, pytest.raises(CoilwrightError, match="ended from outside"):
        found()


def test_interrupted_process_leaves_the_word_to_its_maker(capfd: pytest.CaptureFixture[str]) -> None:
    with begun(lambda: os.kill(os.getpid(), signal.SIGINT), 2) as found, pytest.raises(CoilwrightError):
        found()
    assert capfd.readouterr().err == ""


def test_work_that_nobody_asks_for_is_given_up() -> None:
    start = time.monotonic()
    with begun(lambda: time.sleep(60.0), 2):
        pass
    assert time.monotonic() - start < 30.0
    assert not multiprocessing.active_children()


def test_large_outcome_that_nobody_asks_for_holds_nothing_up() -> None:
    with begun(lambda: bytes(10_000_000), 2):
        pass
    assert not multiprocessing.active_children()


def test_processors_are_those_this_process_may_use() -> None:
    assert 1 <= processors() <= (os.cpu_count() or 1)
