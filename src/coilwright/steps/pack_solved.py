"""What a pack is about, solved by two: the shot by one, by the other what stands on coarser meshes and draws."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass

from coilwright.beside import begun
from coilwright.errors import CoilwrightError, workers_kept
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
from coilwright.steps.spare import Spare
from coilwright.steps.tank import warm_copper

Report = Callable[[float], None]
_Made = dict[str, str]
_Beside = tuple[Rough | None, Board | str]


@dataclass(frozen=True, eq=False)
class Solved:
    """The cold field, the shot with its error, the electrical report of a job with a source, and the shots behind the limits of
    readings (a sentence when there are none)."""

    cold: FieldReport
    shot: ShotResult
    tank: TankReport | None
    board: Board | str


@contextmanager
def solved(
    job: Job, looked: CheckResult, limits: bool, workers: int, report: Report
) -> Iterator[tuple[Solved, Early]]:
    """The job solved, and its first pictures, drawn beside whatever the caller does with it. Raises BadInput, NotConverged."""
    if workers < 2:
        yield _one_by_one(job, limits, report), Early()
        return
    found, made, left = _side_by_side(job, looked, limits, report)
    with begun(lambda: {name: svg_of(draw) for name, draw in left.items()}) as drawn:
        yield found, Early((*made, *left), lambda: made | drawn())


def _one_by_one(job: Job, limits: bool, report: Report) -> Solved:
    warmer, first = _warmed(job)
    cold = field_of(warmer)
    shot = heat(warmer, estimate_error=False, report=report)
    rough, board = _beside(job, limits)
    return _with_error(warmer, cold, shot, first or rough, board)


def _side_by_side(
    job: Job, looked: CheckResult, limits: bool, report: Report
) -> tuple[Solved, _Made, Mapping[str, Draw]]:
    """By a process of its own: the shot behind the error, unless a source settles its copper by one first, and the shots behind
    the limits. Who is done first solves the cold field and draws; what is left to draw is told."""
    method = "fork" if "fork" in multiprocessing.get_all_start_methods() else "spawn"
    with workers_kept(), ProcessPoolExecutor(1, mp_context=multiprocessing.get_context(method)) as pool:
        awaited = pool.submit(_beside, job, limits)
        warmer, first = _warmed(job)
        colder, section = Spare(pool, awaited, _cold, warmer), Spare(pool, awaited, _section, looked)
        shot = heat(warmer, estimate_error=False, report=report)
        untouched = section.withdraw()
        colder.claim()
        made, left = _drawn_until(lambda: awaited.done() and colder.done(), shot_pictures(shot))
        (cold, drawn), (rough, board) = colder.result(), awaited.result()
        drawn = made | drawn | ({} if untouched else section.result())
    if untouched:
        left |= look_pictures(looked)
    return _with_error(warmer, cold, shot, first or rough, board), drawn, left


def _drawn_until(enough: Callable[[], bool], pictures: Mapping[str, Draw]) -> tuple[_Made, dict[str, Draw]]:
    """As many pictures as there is time for, and those that there was none for."""
    made: _Made = {}
    left = dict(pictures)
    while left and not enough():
        name = next(iter(left))
        made[name] = svg_of(left.pop(name))
    return made, left


def _warmed(job: Job) -> tuple[Job, Rough | None]:
    """The job at the copper temperature that its own water leaves, and the rough shot that found it; without a source the job
    as it is."""
    if not has_source(job):
        return job, None
    warmer, first = warm_copper(job)
    return warmer, (first.trace, first.verdicts)


def _cold(job: Job) -> tuple[FieldReport, _Made]:
    """The cold field and its picture."""
    cold = field_of(job)
    return cold, {name: svg_of(draw) for name, draw in cold_pictures(cold).items()}


def _section(looked: CheckResult) -> _Made:
    """The picture of the section."""
    return {name: svg_of(draw) for name, draw in look_pictures(looked).items()}


def _beside(job: Job, limits: bool) -> _Beside:
    """The rough shot behind the error, where no source has asked for one, and what stands behind the limits of readings."""
    rough = None
    if not has_source(job):
        shot = rough_shot(scene(job))
        rough = shot.trace, shot.verdicts
    return rough, _board(job, rough) if limits else "limits were not asked for (--no-limits)"


def _board(job: Job, rough: Rough | None) -> Board | str:
    try:
        return machine_board(job, rough=rough)
    except CoilwrightError as fault:
        return str(fault)


def _with_error(job: Job, cold: FieldReport, shot: ShotResult, rough: Rough | None, board: Board | str) -> Solved:
    """With a source the error of the shot also holds what the copper's last few kelvin do; it has an electrical report."""
    if rough is not None:
        shot = with_error(shot, *rough)
    return Solved(cold, shot, electrical_report(shot, tank_source(job), cold.result) if has_source(job) else None, board)
