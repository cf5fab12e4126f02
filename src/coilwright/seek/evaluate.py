"""One point of a search: the changed job, what stops it, and the figures of a good one.

Cheap things first: can it be drawn, then the cold field, then one shot, and only for a shot that passes everything the rows
of shots that look for the edge of its acceptance. Everything is a function of the job file alone, so that a point written
as a job file and opened again gives the same figures.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.linalg import LinAlgError
from scipy.integrate import trapezoid

from coilwright.errors import BadInput, NotConverged
from coilwright.heating.drive import Drive
from coilwright.heating.march import Steps
from coilwright.heating.model import ShotModel, shot_model
from coilwright.heating.result import ShotResult
from coilwright.heating.setup import drive_of, programme_of
from coilwright.heating.shot import shoot
from coilwright.heating.tank_source import TankSource
from coilwright.job import Job
from coilwright.section.scene import scene
from coilwright.section.sizes import Level
from coilwright.seek.change import apply, bank_price, setback_directions
from coilwright.seek.edge import Edge, Weaker, find_edge, margins, name_of, too_little
from coilwright.seek.figures import Figure, Requirement
from coilwright.seek.screen import short_of_energy
from coilwright.tank.operating import operating_point
from coilwright.tank.result import OperatingPoint

Stage = Literal["drawn", "field", "shot", "passed"]
# As `coilwright heat` computes at each level, so that its figures are the search's.
STEPS: dict[Level, Steps] = {
    "coarse": Steps(tolerance=2.0),
    "normal": Steps(tolerance=1.0),
    "fine": Steps(tolerance=0.5),
}
# How near to the edge of the acceptance is near enough (ln of a time, or share of the way to a temperature).
CLOSE: dict[Level, float] = {"coarse": 0.01, "normal": 0.002, "fine": 0.002}
_WEAKEST = 0.25  # of the setting: the power margin is not looked for below
_FARTHEST = 10e-3  # m: how far back the coil is tried
_SETTING_PER_MARGIN = 0.45  # time to a temperature goes about with the square of the setting: first guess only
_MILLIMETRE = 1e-3
INNER_FAULT = "no fault of coilwright itself"


@dataclass(frozen=True)
class Outcome:
    """What came of one point. `stops`: what it fails, by how much (relative, above 0), and in words; `figures` by name (SI);
    `beyond` names figures that are at least what stands there."""

    values: Mapping[str, Any]
    changes: Mapping[str, Any]
    stage: Stage
    stops: Mapping[str, tuple[float, str]] = field(default_factory=dict)
    figures: Mapping[str, float] = field(default_factory=dict)
    said: tuple[str, ...] = ()
    beyond: tuple[str, ...] = ()
    shots: int = 0

    @property
    def passes(self) -> bool:
        return not self.stops

    @property
    def violation(self) -> float:
        """How far from passing: what cannot be drawn is farther than what cannot heat, that farther than a failed shot."""
        base = {"drawn": 100.0, "field": 10.0, "shot": 0.0, "passed": 0.0}[self.stage]
        return base + sum(by for by, _ in self.stops.values())

    def to_dict(self) -> dict[str, Any]:
        """As it stands in the record."""
        return {
            "values": dict(self.values),
            "changes": dict(self.changes),
            "stage": self.stage,
            "stops": {k: list(v) for k, v in self.stops.items()},
            "figures": dict(self.figures),
            "said": list(self.said),
            "beyond": list(self.beyond),
            "shots": self.shots,
        }

    @staticmethod
    def from_dict(data: Mapping[str, Any]) -> Outcome:
        stops = {k: (float(v[0]), str(v[1])) for k, v in data["stops"].items()}
        return Outcome(
            data["values"], data["changes"], data["stage"], stops, data["figures"], tuple(data["said"]),
            tuple(data["beyond"]), int(data["shots"]),
        )  # fmt: skip


@dataclass(frozen=True)
class Evaluator:
    """Everything needed to look at a point of one job; small enough to send to another process or machine."""

    job: Job
    wanted: tuple[Figure, ...]
    required: tuple[Requirement, ...]

    def __call__(self, values: Mapping[str, Any], level: Level = "coarse") -> Outcome:
        """The outcome of these values on meshes of this level. Never raises for what a point cannot be."""
        changes: dict[str, Any] = {}
        try:
            job, changes = apply(self.job, values)
            drawn = scene(job)
            drive = drive_of(job)
        except BadInput as error:
            return Outcome(values, changes, "drawn", _reasons(error, self.job.name))
        try:
            return _Point(self, values, changes, shot_model(drawn, drive.frequency, level), drive, level).look()
        except BadInput as error:
            return Outcome(values, changes, "field", _reasons(error, self.job.name))
        except NotConverged as error:
            return Outcome(values, changes, "field", {"a solution that converges": (1.0, str(error))})
        except (ArithmeticError, ValueError, LinAlgError) as error:  # one odd point must not end a search of hours
            return Outcome(values, changes, "field", {INNER_FAULT: (1.0, f"{type(error).__name__}: {error}")})


def _reasons(error: BadInput, file: str) -> dict[str, tuple[float, str]]:
    """Faults under names that are the same for every point: turns have no number, places and sizes stand in the words."""
    out = {}
    for fault in error.faults[:5]:
        where = fault.where.removeprefix(f"{file}: ")
        where = re.sub(r"\bturn \d+\b", "coil", where) or "the job file"
        out[where] = (1.0, fault.what)
    return out


class _Point:
    """One point while it is looked at."""

    def __init__(
        self,
        asked: Evaluator,
        values: Mapping[str, Any],
        changes: Mapping[str, Any],
        model: ShotModel,
        drive: Drive,
        level: Level,
    ) -> None:
        self.asked, self.values, self.changes = asked, values, changes
        self.model, self.drive, self.level = model, drive, level
        self.job = model.scene.job
        self.names = {f.name for f in (*asked.wanted, *(r.figure for r in asked.required))}
        self.figures: dict[str, float] = {}
        self.beyond: list[str] = []
        self.shots = 0

    def look(self) -> Outcome:
        weak = short_of_energy(self.model, self.drive)
        if weak is not None:
            return self._outcome("field", {weak.name: (weak.by, weak.said)})
        if "setback loss" in self.names:
            self.figures["setback loss"] = self._setback_loss()
        if "bank price" in self.names:
            self.figures["bank price"] = bank_price(self.job)
        stops = self._missed()
        if stops:
            return self._outcome("field", stops)
        shot = self._shoot(self.model, self.drive)
        self.figures |= shot_figures(shot)
        stops = {name: (-m, _said(shot, name)) for name, m in margins(shot) if m < 0.0}
        stops |= self._ratings(shot)
        stops |= self._missed()
        said = tuple(v.said for v in shot.verdicts)
        if not shot.passed and not stops:  # met by no margin at all: a deadline missed by rounding
            stops = {name_of(v): (1e-6, v.said) for v in shot.verdicts if not v.met}
        if stops:
            return self._outcome("shot", stops, said)
        self._edges(shot)
        return self._outcome("passed", self._missed(), said)

    def _outcome(self, stage: Stage, stops: Mapping[str, tuple[float, str]], said: tuple[str, ...] = ()) -> Outcome:
        if stage == "passed" and stops:
            stage = "shot"
        return Outcome(
            self.values, self.changes, stage, stops, self.figures, said, tuple(self.beyond), self.shots
        )  # fmt: skip

    def _missed(self) -> dict[str, tuple[float, str]]:
        """Requirements that the figures known so far do not keep."""
        out = {}
        for r in self.asked.required:
            value = self.figures.get(r.figure.name)
            if value is not None and r.miss(value) > 0.0:
                out[r.name] = (r.miss(value), f"{r.figure.name} is {r.figure.shown(value)}")
        return out

    def _shoot(self, model: ShotModel, drive: Drive) -> ShotResult:
        self.shots += 1
        return shoot(model, drive, steps=STEPS[self.level])

    # the cold field ------------------------------------------------------------------------------------------------

    def _setback_loss(self) -> float:
        """Share of the work's cold power per metre that the first millimetre of setback costs; the worse way of two."""
        return max(1.0 - self._left(d * _MILLIMETRE) for d in self._ways) / _MILLIMETRE

    @cached_property
    def _ways(self) -> tuple[float, ...]:
        return setback_directions(self.model.scene.section)

    def _left(self, up: float) -> float:
        """Share of the work's cold power that is left with the coil moved up (m), the drive answering."""
        return self._cold_power(up) / max(self._here, 1e-30)

    @cached_property
    def _here(self) -> float:
        return self._cold_power(0.0)

    def _cold_power(self, up: float) -> float:
        base, f = self.model.field.base, self.model.field.base.model.frequency
        start = {b.name: self.model.scene.start_temperature(b.mesh.regions[0]) for b in base.model.bodies}
        current = self._current
        state = base.at(coil=up).state(start, base.drive(current))
        flows = self.drive.respond(1.0, state.impedance + self.model.field.leads(f), f).current
        work = [r for b in base.model.bodies if b.work for r in b.mesh.regions]
        return sum(state.region_powers[r] for r in work) * (flows / current) ** 2

    @cached_property
    def _current(self) -> float:
        """Coil current (A) about which a saturating part is looked at: what the drive gives the cold part."""
        if not self.model.field.nonlinear:
            return 1.0
        base, f = self.model.field.base, self.model.field.base.model.frequency
        start = {b.name: self.model.scene.start_temperature(b.mesh.regions[0]) for b in base.model.bodies}
        current = self.job.drive.coil_current or 100.0
        for _ in range(3):
            z = base.state(start, base.drive(current)).impedance + self.model.field.leads(f)
            current = self.drive.respond(1.0, z, f).current or current
        return current

    # ratings -------------------------------------------------------------------------------------------------------

    def _ratings(self, shot: ShotResult) -> dict[str, tuple[float, str]]:
        """What of the source and its capacitors is used beyond what the shop allows."""
        if not isinstance(self.drive, TankSource):
            return {}
        out: dict[str, tuple[float, str]] = {}
        most = 0.0
        for point, where in _points(shot, self.drive):
            for check in point.ratings:
                most = max(most, check.used)
                name = f"{check.component} {check.quantity} within its rating"
                if check.used > 1.0 and check.used - 1.0 > out.get(name, (0.0, ""))[0]:
                    out[name] = (check.used - 1.0, f"{100 * check.used:.0f} % of what is allowed{where}")
            for f in () if where else point.findings:
                if f.code == "frequency-outside-window":
                    out["frequency within the source's window"] = (0.1, f.text)
        self.figures["capacitor use"] = most
        return out

    # edges of the acceptance ---------------------------------------------------------------------------------------

    def _edges(self, shot: ShotResult) -> None:
        if not self.names & {"power margin", "setback"}:
            return
        here = too_little(shot)
        weakest = self._weakest(shot, here)
        if "power margin" in self.names:
            self._note("power margin", weakest)
        if "setback" in self.names:
            self._note("setback", min((self._back(way, here, weakest) for way in self._ways), key=lambda e: e.place))

    def _note(self, name: str, edge: Edge) -> None:
        self.figures[name] = edge.place
        if edge.beyond:
            self.beyond.append(name)

    def _weakest(self, shot: ShotResult, here: float) -> Edge:
        """Share of the work's power that the drive may lose before an acceptance fails."""
        powers = {0.0: _work_power(shot)}

        def margin(less: float) -> float:
            weaker = self._shoot(self.model, Weaker(self.drive, 1.0 - less))
            powers[less] = _work_power(weaker)
            return too_little(weaker)

        edge = find_edge(margin, here, 1.0 - _WEAKEST, _SETTING_PER_MARGIN * here, CLOSE[self.level])
        if edge.place not in powers:
            return Edge(1.0 - _WEAKEST**2, True)
        return replace(edge, place=1.0 - powers[edge.place] / powers[0.0])

    def _back(self, way: float, here: float, weakest: Edge) -> Edge:
        """How far (m) the coil may stand back one way: where the cold field loses the power margin; on the finer meshes
        looked for anew by full shots from there."""
        guess = self._where_left(way, 1.0 - weakest.place)
        if self.level == "coarse" or weakest.beyond:
            return replace(guess, beyond=guess.beyond or weakest.beyond)
        return find_edge(lambda d: self._moved(way * d), here, _FARTHEST, guess.place, CLOSE[self.level])

    def _where_left(self, way: float, share: float) -> Edge:
        """Setback at which the cold power has fallen to a share; the logarithm of what is left is nearly straight."""
        wanted = -math.log(max(share, 1e-9))
        return find_edge(
            lambda d: wanted + math.log(max(self._left(way * d), 1e-9)), wanted, _FARTHEST, wanted / 250.0, 1e-4
        )  # fmt: skip

    def _moved(self, up: float) -> float:
        """Worst margin with the coil moved up; a place where it cannot stand fails."""
        centre = getattr(self.job.coil, "centre", 0.0) + up
        try:
            drawn = scene(self.job.with_value("coil.centre", f"{centre!r} m"))
        except BadInput:
            return -1.0
        return too_little(self._shoot(shot_model(drawn, self.drive.frequency, self.level), self.drive))


def _said(shot: ShotResult, name: str) -> str:
    return next(v.said for v in shot.verdicts if name_of(v) == name)


def _work_power(shot: ShotResult) -> float:
    """Power (W) in the work at the start of the shot."""
    job = shot.model.scene.job
    return float(sum(t.power[0] for n, t in shot.trace.bodies.items() if job.body(n).role == "work"))


def shot_figures(shot: ShotResult) -> dict[str, float]:
    """Every figure (SI, by name) that one shot gives."""
    trace, job = shot.trace, shot.model.scene.job
    coil, source, time = trace.coil, trace.source, trace.time
    out = {
        "coil current": float(coil.current.max()),
        "coil voltage": float(coil.voltage.max()),
        "coil kVA": float((coil.voltage * coil.current).max()),
    }
    if source is not None:
        out["source current"] = float(source.current.max())
        out["source kVA"] = float((source.voltage * source.current).max())
    supplied = trapezoid(coil.power if source is None else source.power, time)
    work = [t.power for n, t in trace.bodies.items() if job.body(n).role == "work"]
    out["efficiency"] = float(trapezoid(np.sum(work, axis=0), time) / supplied) if work and supplied > 0.0 else 0.0
    spared = [float(t.maximum.max()) for n, t in trace.bodies.items() if job.body(n).role == "bystander"]
    if spared:
        out["bystander temperature"] = max(spared)
    under = [v.margin_K for v in shot.verdicts if "stays_below_degC" in v.details and v.margin_K is not None]
    if under:
        out["headroom"] = min(under)
    keys = ("reached_at_s", "fired_at_s")
    times = [v.details[k] for v in shot.verdicts for k in keys if k in v.details]
    if times and all(t is not None for t in times):
        out["time"] = max(float(t) for t in times if t is not None)
    return out


def _points(shot: ShotResult, drive: TankSource) -> Iterator[tuple[OperatingPoint, str]]:
    """The operating points at which something electrical is most loaded, with what to say of them: start, largest bank
    voltage and current, end (hot), and the empty coil where the source can run on it."""
    coil, source = shot.trace.coil, shot.trace.source
    on = np.flatnonzero(coil.current > 0.0)
    if not len(on) or source is None:
        return
    picks = {int(on[0]), int(on[-1]), int(np.argmax(source.bank_voltage)), int(np.argmax(source.bank_current))}
    tank, levels = drive.tank.tank, programme_of(shot.model.scene.job).levels(list(shot.trace.time))
    for k in sorted(picks):
        loaded = float(coil.resistance[k]), float(coil.inductance[k])
        yield operating_point(tank, loaded, level=levels[k] or 1.0), ""
    try:
        yield operating_point(tank, _empty(shot)), " with the coil empty"
    except BadInput:  # many sources cannot run on the empty coil
        return


def _empty(shot: ShotResult) -> tuple[float, float]:
    """(R, L) of the coil without its part, leads included, at the frequency of the cold field."""
    field_of_shot = shot.model.field
    coil, f = field_of_shot.base.coil, field_of_shot.base.model.frequency
    if coil is None:
        raise BadInput("there is no coil to be empty")
    z = complex(coil.voltage(coil.alone[:, 0], 1.0)) + field_of_shot.leads(f)
    return z.real, z.imag / (2.0 * math.pi * f)
