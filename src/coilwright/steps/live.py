"""A job that follows a hand: quick answers while something is dragged, exact ones when the hand rests.

Meshes, condensed bodies and the last shot are kept; a coil or a body that only moved along the axis costs one field solve.
Quick answers use coarser meshes and carry the last shot over (`heating.carried`); how far they are off is measured against
the exact answer each time there is one, and told with them.
"""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from coilwright.errors import CoilwrightError, NotConverged
from coilwright.field.report import FieldReport
from coilwright.field.result import FieldResult
from coilwright.field.setup import MeshedScene, field_model, mesh_scene
from coilwright.field.solve import Field
from coilwright.field.state import FieldState
from coilwright.heating.carried import ESTIMATE, Known, carry, moved_side
from coilwright.heating.drive import Drive, FixedCurrent
from coilwright.heating.march import Loss
from coilwright.heating.model import ShotModel, shot_model
from coilwright.heating.result import ShotResult, Trace, Verdict
from coilwright.heating.setup import drive_of
from coilwright.heating.shot import shoot
from coilwright.heating.tank_source import TankSource
from coilwright.job import Job
from coilwright.section.overlap import check_geometry
from coilwright.section.scene import Scene, scene
from coilwright.steps.field import field as exact_field
from coilwright.steps.field import leads_of, settled, start_temperatures
from coilwright.steps.heat import heat

# Relative change of A at which a saturating part is settled for a quick answer: 0.3 % of the power of a steel pin moved by
# half its length, for two thirds of the time (own runs).
_NEWTON = 3e-2
BUDGET = 0.15  # s a curve may take to follow a hand; a slower one waits until the hand rests


@dataclass(frozen=True)
class Off:
    """How far quick answers were off when last measured: relative in the power of the work, K in its curve."""

    power: float | None = None
    temperature: float | None = None


@dataclass(frozen=True, eq=False)
class Glance:
    """One answer. `trace` and `verdicts` are None when the curve waits for rest; `waits` says why. `bank_voltage`
    (V rms) is None without a source. `exact` tells an answer of full accuracy from a quick one.
    """

    scene: Scene
    field: FieldResult
    terminals: complex
    bank_voltage: float | None
    trace: Trace | None = None
    verdicts: tuple[Verdict, ...] = ()
    waits: str = ""
    exact: bool = False
    off: Off = Off()
    shifts: dict[str, float] = dataclasses.field(default_factory=dict)


class Follower:
    """One job kept warm. `glance` is quick, `settle_field` and `settle_shot` are exact; a job of any kind may follow."""

    def __init__(self) -> None:
        self.job: Job | None = None
        self.meshed: MeshedScene | None = None
        self.solver: Field | None = None
        self.model: ShotModel | None = None
        self.known: Known | None = None
        self.last: FieldState | None = None
        self.off = Off()
        self.took = 0.0

    # ---- quick
    def glance(self, job: Job) -> Glance:
        """Field numbers, and the curve when it can follow. Raises BadInput for a section that cannot be."""
        drawn = scene(job, checked=False)
        check_geometry(drawn.section)
        drive = drive_of(job)
        moved = self._moved(job)
        if moved is None:
            self._mesh(job, drawn, drive)
            moved = ({}, 0.0)
        if self.solver is None or self.meshed is None:
            raise NotConverged("the job was not made ready")
        solver = self.solver.at(moved[0], moved[1])
        result = self._field(solver, drive, drawn)
        glance = _glance(drawn, result, drive, off=self.off, shifts=moved[0])
        return self._with_curve(glance, job, drive, solver)

    def _moved(self, job: Job) -> tuple[dict[str, float], float] | None:
        """(shift of every live body, shift of the coil) that turn the kept job's section into this one; None when more
        than places along the axis differ.
        """
        kept = self.job
        if kept is None or self.solver is None:
            return None
        if _without_places(job) != _without_places(kept) or job.drive.frequency != kept.drive.frequency:
            return None
        up = {b.name: b.centre - k.centre for b, k in zip(job.bodies, kept.bodies, strict=True)}
        shifts = {}
        for body in self.solver.model.bodies:
            ways = {round(up[r] * 1e9) for r in body.mesh.regions}
            if len(ways) != 1:
                return None
            shifts[body.name] = up[body.mesh.regions[0]]
        coil = _coil_shift(job, kept)
        return None if coil is None else (shifts, coil)

    def _mesh(self, job: Job, drawn: Scene, drive: Drive) -> None:
        meshed = mesh_scene(drawn, drive.frequency, "coarse")
        self.solver = Field.of(field_model(meshed))
        self.job, self.meshed = job, meshed

    def _field(self, solver: Field, drive: Drive, drawn: Scene) -> FieldResult:
        """A set current needs one solve; anything else is settled against the loaded coil."""
        temperatures = start_temperatures(drawn, solver.model)
        current = drive.current if isinstance(drive, FixedCurrent) else None
        if current is None:
            solver, current = settled(solver, drive, drawn, temperatures)
        start = self.last if self.last is not None and self.last.reduced.live is solver.live else None
        result = solver.solve(current, temperatures, start=start, tolerance=_NEWTON)
        self.last = result.state
        return result

    def _with_curve(self, glance: Glance, job: Job, drive: Drive, solver: Field) -> Glance:
        known = self.known
        if job.drive.shot_time is None:
            return replace(glance, waits="the job sets no on_time, so there is no shot")
        if known is None or not _same_parts(job, known.model.scene.job):
            return replace(glance, waits="the curve waits until the hand rests")
        if self.took > BUDGET:
            return replace(
                glance, waits=f"this shot takes {self.took:.2g} s to compute; its curve waits until the hand rests"
            )
        begun = time.perf_counter()
        try:
            trace, verdicts = carry(known, self._cold_loss(glance, solver), drive, _with_job(known.model, job))
        except NotConverged:
            return replace(glance, waits="the curve waits until the hand rests")
        self.took = 0.5 * (self.took + time.perf_counter() - begun)
        return replace(glance, trace=trace, verdicts=verdicts)

    def _cold_loss(self, glance: Glance, solver: Field) -> Loss:
        """The cold loss per A^2 at the new place: on the shot's own mesh when only places have changed."""
        known = self.known
        if known is not None and self.model is not None and self.job is not None and self.meshed is self.model.meshed:
            side = moved_side(self.model.field, solver)
            start = self.model.stepper.start(dict(self.model.start_temperatures))
            temperature = self.model.stepper.at_gauss(start)
            return side.solve(0.0, temperature, 1.0, solver.model.frequency)
        square = abs(glance.field.coil_current) ** 2
        bodies = {n: p / square for n, p in glance.field.body_powers.items()}
        return Loss(0.0, np.zeros(0), glance.terminals, bodies, 0.0)

    # ---- exact
    def settle_field(self, job: Job) -> tuple[Glance, FieldReport]:
        """The cold field at full accuracy with its error estimate; measures how far quick answers are off."""
        quick = self.glance(job)
        report = exact_field(job)
        work = [b.name for b in job.bodies if b.role == "work" and b.name in report.result.body_powers]
        pairs = [(quick.field.body_powers.get(n, 0.0), report.result.body_powers[n]) for n in work]
        known = [abs(a - b) / abs(b) for a, b in pairs if b]
        self.off = replace(self.off, power=max(known, default=None))
        drive = drive_of(job)
        exact = _glance(report.meshed.scene, report.result, drive, exact=True, off=self.off)
        follows = bool(quick.waits) and job.drive.shot_time is not None  # the hand rests already: the shot is next
        waits = "the shot is being computed; its curve comes with it" if follows else quick.waits
        return replace(exact, trace=quick.trace, verdicts=quick.verdicts, waits=waits), report

    def settle_shot(self, job: Job, report: Callable[[float], None] | None = None) -> ShotResult:
        """The shot at full accuracy, and the one the next quick answers are carried from. `report` may raise to give up."""
        before = self._quick_trace(job)
        result = heat(job, report=report)
        if before is not None:
            self.off = replace(self.off, temperature=_difference(before, result.trace))
        self._learn(job, report)
        return result

    def _quick_trace(self, job: Job) -> Trace | None:
        try:
            return self.glance(job).trace
        except CoilwrightError:
            return None

    def _learn(self, job: Job, report: Callable[[float], None] | None) -> None:
        drawn, drive = scene(job), drive_of(job)
        self.known = self.model = None
        model = shot_model(drawn, drive.frequency, "coarse")
        if model.field.nonlinear or job.coil is None:
            return
        begun = time.perf_counter()
        shot = shoot(model, drive, steps=ESTIMATE, report=report)
        self.took = 0.4 * (time.perf_counter() - begun)  # a carried shot takes about that share
        self.model, self.known = model, Known.of(shot)
        self.job, self.meshed, self.solver = job, model.meshed, model.field.base


def _glance(drawn: Scene, result: FieldResult, drive: Drive, **more: Any) -> Glance:
    frequency = result.frequency
    z = complex(result.coil_voltage / result.coil_current) if result.coil_current else 0j
    z += leads_of(drawn, frequency).impedance
    bank = None
    if isinstance(drive, TankSource) and result.coil_current:
        bank = float(drive.flows(z, frequency, abs(result.coil_current))[4])
    return Glance(drawn, result, z, bank, **more)


def _with_job(model: ShotModel, job: Job) -> ShotModel:
    """The thermal side of a model under another drive, acceptance or coil; the bodies are the same."""
    drawn = replace(model.scene, job=job)
    return replace(model, meshed=replace(model.meshed, scene=drawn))


def _same_parts(job: Job, other: Job) -> bool:
    """Whether the bodies are the same but for their places, so that the heat side of one serves the other."""
    same = _without_places(job)[0] == _without_places(other)[0] and job.surroundings == other.surroundings
    return same and job.materials == other.materials and job.points == other.points and job.coil is not None


def _without_places(job: Job) -> tuple[Any, ...]:
    bodies = tuple(b.model_copy(update={"centre": 0.0}) for b in job.bodies)
    coil: Any = job.coil
    if coil is not None:
        at = (
            {"turn": tuple(t.model_copy(update={"z": 0.0}) for t in coil.turn)}
            if coil.winding == "turns"
            else {"centre": 0.0}
        )
        coil = coil.model_copy(update=at)
    return bodies, coil, job.materials, job.joints, job.contacts, job.surroundings, job.points, job.drive.through


def _coil_shift(job: Job, kept: Job) -> float | None:
    coil: Any = job.coil
    other: Any = kept.coil
    if coil is None:
        return 0.0
    if coil.winding != "turns":
        return float(coil.centre - other.centre)
    ways = [a.z - b.z for a, b in zip(coil.turn, other.turn, strict=True)]
    return float(ways[0]) if max(ways) - min(ways) < 1e-9 else None


def _difference(quick: Trace, exact: Trace) -> float:
    """Largest difference (K) of the mean temperatures of two traces of one job."""
    worst = 0.0
    for name, body in exact.bodies.items():
        if name in quick.bodies:
            at = np.interp(exact.time, quick.time, quick.bodies[name].mean)
            worst = max(worst, float(np.max(np.abs(at - body.mean))))
    return worst
