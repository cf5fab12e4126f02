"""Work on processes of its own: the same outcome on one process and on two, errors included."""

from __future__ import annotations

import os

import pytest

from coilwright.errors import BadInput, Fault
from coilwright.window.pool import begun, each


@pytest.mark.parametrize("workers", [1, 2])
def test_begun_work_is_handed_over_when_asked_for(workers: int) -> None:
    known = {"here": 20}  # what the other process is forked with
    with begun(lambda: known["here"] + 1, workers) as found:
        assert found() == 21


def test_begun_work_has_a_process_of_its_own() -> None:
    with begun(os.getpid, 2) as found:
        assert found() != os.getpid()


@pytest.mark.parametrize("workers", [1, 2])
def test_fault_of_begun_work_reaches_who_asks(workers: int) -> None:
    def fails() -> float:
        raise BadInput(Fault("setting", "must be reached by the runs"))

    with begun(fails, workers) as found, pytest.raises(BadInput, match="must be reached by the runs"):
        found()


@pytest.mark.parametrize("workers", [1, 2])
def test_each_keeps_the_order(workers: int) -> None:
    assert each(lambda x: x * x, list(range(7)), workers) == [0, 1, 4, 9, 16, 25, 36]
