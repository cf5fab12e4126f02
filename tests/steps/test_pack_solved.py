"""What a pack is about is the same whoever solves which part of it."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import pytest

import coilwright as cw
from coilwright.beside import with_processes
from coilwright.errors import BadInput, Fault
from coilwright.steps import pack_solved
from coilwright.steps.pack import PackWishes
from coilwright.steps.pack_solved import solved

EXAMPLE = Path(__file__).parents[2] / "examples" / "indicator-tube-getter" / "with-tank.toml"
NAMES = {"section", "field", "shot", "map"}


def test_one_worker_and_two_write_the_same_bytes(tmp_path: Path) -> None:
    job, usual = cw.load(EXAMPLE), PackWishes().effort
    written = [
        cw.pack(job, tmp_path / str(n), date="2025-03-31", effort=replace(usual, workers=n)) for n in (1, 2)
    ]
    one, two = ({p.name: p.read_bytes() for p in (tmp_path / str(n)).iterdir()} for n in (1, 2))
    assert written[0].passed and one == two


@pytest.mark.skipif(not with_processes(2), reason="processes cannot be forked here")
@pytest.mark.parametrize("slow", ["_board", "heat"])
def test_whoever_is_free_first_does_what_is_anybodys(monkeypatch: pytest.MonkeyPatch, slow: str) -> None:
    """Where the part of the other process is slow the caller solves the cold field, and the other way round."""
    job, known, field_of = cw.load(EXAMPLE), getattr(pack_solved, slow), pack_solved.field_of
    solved_here = []  # the other process has a list of its own

    def later(*given, **named):
        time.sleep(3.0)
        return known(*given, **named)

    def noted(*given):
        solved_here.append(given)
        return field_of(*given)

    monkeypatch.setattr(pack_solved, slow, later)
    monkeypatch.setattr(pack_solved, "field_of", noted)
    with solved(job, cw.check(job), False, 2, lambda share: None) as rest:
        found, early = rest()
        assert set(early.names) == NAMES
        svg = early.wait()
    assert set(svg) == NAMES and all("<svg" in text for text in svg.values())
    assert bool(solved_here) == (slow == "_board")
    assert found.shot.error is not None and found.tank is not None


@pytest.mark.parametrize("workers", [1, 2])
def test_fault_of_the_other_process_reaches_the_caller(monkeypatch: pytest.MonkeyPatch, workers: int) -> None:
    def fails(*given):
        raise BadInput(Fault("machine", "cannot be read"))

    monkeypatch.setattr(pack_solved, "_board", fails)
    job = cw.load(EXAMPLE)
    with pytest.raises(BadInput, match="cannot be read"), solved(job, cw.check(job), True, workers, print) as rest:
        rest()
