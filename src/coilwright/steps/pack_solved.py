"""What a pack is about, solved by two: the shot by one, by the other what stands on coarser meshes."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.synchronize import Lock

from coilwright.beside import begun, with_processes
from coilwright.errors import CoilwrightError
from coilwright.field.look import CheckResult
from coilwright.field.report import FieldReport
from coilwright.heating.electrical import TankReport, electrical_report
from coilwright.heating.result import ShotResult
from coilwright.heating.rough import rough_shot
from coilwright.heating.tank_source import has_source, tank_source
from coilwright.job import Job
from coilwright.line.posterior import Board
from coilwright.line.shots import Rough
from coilwright.line.why import machine_board
from coilwright.pack.pack_pictures import Draw, Early, cold_pictures, look_pictures, shot_pictures, svg_of
from coilwright.section.scene import scene
from coilwright.steps.field import field as field_of
from coilwright.steps.heat import heat, with_error
from coilwright.steps.tank import warm_copper

Report = Callable[[float], None]
_Made = dict[str, str]


@dataclass(frozen=True, eq=False)
class Solved:
    """The cold field, the shot with its error, the electrical report of a job with a source, and the shots behind the limits of
    readings (a sentence when there are none)."""

    cold: FieldReport
    shot: ShotResult
    tank: TankReport | None
    board: Board | str


@dataclass(frozen=True, eq=False)
class _Beside:
    """What the other process has found: the shot behind the error, where no source has asked for one before, what stands behind
    the limits, and of what is anybody's the part it was free for first."""

    rough: Rough | None
    board: Board | str
    cold: FieldReport | None
    made: _Made


@dataclass(frozen=True, eq=False)
class _Anybody:
    """What is done by whoever is free first, and taken by locking it: the cold field and the picture of the section. Nobody
    unlocks. The job to solve the field of is told by one end and heard at the other."""

    cold: Lock
    section: Lock
    heard: Connection
    told: Connection


@contextmanager
def solved(
    job: Job, looked: CheckResult, limits: bool, workers: int, report: Report
) -> Iterator[Callable[[], tuple[Solved, Early]]]:
    """Solve the job, and yield what waits for the rest of it, with its first pictures, which are drawn beside whatever the
    caller does. Raises BadInput, NotConverged."""
    if not with_processes(workers):
        alone = _one_by_one(job, limits, report)
        yield lambda: (alone, Early())
        return
    context = multiprocessing.get_context("fork")
    anybody = _Anybody(context.Lock(), context.Lock(), *context.Pipe(duplex=False))
    with anybody.heard, anybody.told, begun(lambda: _beside(job, looked, limits, anybody)) as beside:
        warmer, first = _warmed(job)
        anybody.told.send(warmer)
        shot = heat(warmer, estimate_error=False, report=report)
        left = shot_pictures(shot)
        cold = field_of(warmer) if anybody.cold.acquire(block=False) else None
        if cold is not None:
            left |= cold_pictures(cold)
        if anybody.section.acquire(block=False):
            left |= look_pictures(looked)
        with begun(lambda: _drawn(left)) as drawn:
            yield lambda: _joined(warmer, cold, shot, first, beside(), Early(tuple(left), drawn))


def _one_by_one(job: Job, limits: bool, report: Report) -> Solved:
    warmer, first = _warmed(job)
    cold = field_of(warmer)
    shot = heat(warmer, estimate_error=False, report=report)
    rough = None if has_source(job) else _rough(job)
    return _with_error(warmer, cold, shot, first or rough, _board(job, rough, limits))


def _joined(
    job: Job, cold: FieldReport | None, shot: ShotResult, first: Rough | None, other: _Beside, drawn: Early
) -> tuple[Solved, Early]:
    found = cold or other.cold
    assert found is not None  # noqa: S101  # whoever did not take it found it taken
    early = Early((*drawn.names, *other.made), lambda: {**other.made, **drawn.wait()})
    return _with_error(job, found, shot, first or other.rough, other.board), early


def _beside(job: Job, looked: CheckResult, limits: bool, anybody: _Anybody) -> _Beside:
    anybody.told.close()  # so that nobody waits for a job from a process that is gone
    rough = None if has_source(job) else _rough(job)
    board = _board(job, rough, limits)
    cold: FieldReport | None = None
    made: _Made = {}
    if anybody.cold.acquire(block=False):
        cold = field_of(anybody.heard.recv())
        made |= _drawn(cold_pictures(cold))
    if anybody.section.acquire(block=False):
        made |= _drawn(look_pictures(looked))
    return _Beside(rough, board, cold, made)


def _drawn(pictures: dict[str, Draw]) -> _Made:
    return {name: svg_of(draw) for name, draw in pictures.items()}


def _warmed(job: Job) -> tuple[Job, Rough | None]:
    """The job at the copper temperature that its own water leaves, and the rough shot that found it; without a source the job
    as it is."""
    if not has_source(job):
        return job, None
    warmer, first = warm_copper(job)
    return warmer, (first.trace, first.verdicts)


def _rough(job: Job) -> Rough:
    shot = rough_shot(scene(job))
    return shot.trace, shot.verdicts


def _board(job: Job, rough: Rough | None, limits: bool) -> Board | str:
    if not limits:
        return "limits were not asked for (--no-limits)"
    try:
        return machine_board(job, rough=rough)
    except CoilwrightError as fault:
        return str(fault)


def _with_error(job: Job, cold: FieldReport, shot: ShotResult, rough: Rough | None, board: Board | str) -> Solved:
    """With a source the error of the shot also holds what the copper's last few kelvin do; it has an electrical report."""
    if rough is not None:
        shot = with_error(shot, *rough)
    return Solved(cold, shot, electrical_report(shot, tank_source(job), cold.result) if has_source(job) else None, board)
