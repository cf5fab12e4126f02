"""Work for whoever is free first: done once, by the pool or by the caller, and never lost with a pool."""

from __future__ import annotations

import logging
import threading
from concurrent.futures import Future, ThreadPoolExecutor

import pytest

from coilwright.steps.spare import Spare


class Counted:
    """Says who did it and how often it was done."""

    def __init__(self) -> None:
        self.by: list[int] = []
        self.begun = threading.Event()

    def __call__(self, value: int) -> int:
        self.by.append(threading.get_ident())
        self.begun.set()
        return 2 * value


def test_pool_begins_when_the_task_before_is_done() -> None:
    work, gate = Counted(), threading.Event()
    with ThreadPoolExecutor(1) as pool:
        before = pool.submit(gate.wait)
        spare = Spare(pool, before, work, 21)
        assert not spare.done()
        gate.set()
        before.result()
        assert work.begun.wait(10.0)  # without anybody asking for it
        assert spare.result() == 42
        assert spare.done()
    assert len(work.by) == 1
    assert work.by[0] != threading.get_ident()


def test_caller_does_it_while_the_pool_is_busy() -> None:
    work, gate = Counted(), threading.Event()
    with ThreadPoolExecutor(1) as pool:
        before = pool.submit(gate.wait)
        spare = Spare(pool, before, work, 21)
        spare.claim()
        assert spare.done()
        gate.set()
        assert spare.result() == 42
    assert work.by == [threading.get_ident()]  # and the pool, free at last, has left it alone


def test_closed_pool_leaves_it_to_the_caller_without_a_word(caplog: pytest.LogCaptureFixture) -> None:
    work: Counted = Counted()
    before: Future[None] = Future()
    pool = ThreadPoolExecutor(1)
    spare = Spare(pool, before, work, 21)
    pool.shutdown()
    with caplog.at_level(logging.DEBUG):
        before.set_result(None)
    assert not caplog.records
    assert spare.result() == 42


def test_task_before_that_failed_loses_nothing() -> None:
    work: Counted = Counted()
    with ThreadPoolExecutor(1) as pool:
        before = pool.submit(lambda: 1 // 0)
        assert Spare(pool, before, work, 21).result() == 42
    assert len(work.by) == 1


@pytest.mark.parametrize("claimed", [True, False])
def test_error_reaches_who_asks(claimed: bool) -> None:
    def fails() -> int:
        raise ValueError("no field")

    with ThreadPoolExecutor(1) as pool:
        before: Future[None] = Future()
        spare = Spare(pool, before, fails)
        if not claimed:
            before.set_result(None)
        with pytest.raises(ValueError, match="no field"):
            spare.result()
