"""The electrical side of a shot: where the source settles cold, through the shot and empty, what every part carries.

Also the water that takes the losses away and the cautions that belong to the machine.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from coilwright.cooling.inputs import Element, Wall, rectangular_bore, round_bore
from coilwright.cooling.result import CoolingResult
from coilwright.cooling.solve import settle_losses, solve_cooling
from coilwright.cooling.table import circuit_from, read_cooling
from coilwright.errors import BadInput
from coilwright.evidence import Finding
from coilwright.field.result import FieldResult
from coilwright.heating.hazards import facts_of
from coilwright.heating.result import ShotResult
from coilwright.heating.setup import programme_of
from coilwright.heating.tank_source import TankSource
from coilwright.job import Job
from coilwright.safety.cautions import Caution, cautions
from coilwright.tank.bridge import Wave
from coilwright.tank.chain import winding_coil
from coilwright.tank.inputs import TankInput
from coilwright.tank.operating import operating_point
from coilwright.tank.result import OperatingPoint, RatingCheck
from coilwright.tank.startup import Harmonic, Mode, RingUp, drive_harmonics, ring_down, ring_modes, ring_up

# Instants of the shot at which every component is looked at, besides its start and end.
_LOOKS = 10
_MOST_CYCLES = 600
_ORDERS = (1, 3, 5, 7, 9)


@dataclass(frozen=True, eq=False)
class StartUp:
    """The first periods after switch-on and what rings on after switch-off, cold part, bridge at the drive it runs at.

    `ring_up` and `ring_down` are exact waves; `modes` how the tank rings by itself; `harmonics` of the square drive.
    """

    ring_up: RingUp
    ring_down: Wave
    modes: tuple[Mode, ...]
    harmonics: tuple[Harmonic, ...]

    def to_dict(self) -> dict[str, Any]:
        up = self.ring_up
        return {
            "peak_source_current_A": up.peak_source_current,
            "peak_coil_current_A": up.peak_coil_current,
            "peak_bank_voltage_V": up.peak_bank_voltage,
            "ring_up_time_s": up.ring_up_time,
            "modes": [{"frequency_Hz": m.frequency, "time_constant_s": m.time_constant, "q": m.q} for m in self.modes],
            "harmonics": [
                {"order": h.order, "source_current_A": h.source_current, "coil_current_A": h.coil_current}
                for h in self.harmonics
            ],
        }


@dataclass(frozen=True, eq=False)
class TankReport:
    """`cold` and `hot`: the operating points at the start and the end of the shot; `empty`: without the part, None when
    the source cannot run then. `worst`: the most used value of every rating through the shot and empty.
    """

    title: str
    tank: TankInput
    shot: ShotResult
    cold: OperatingPoint
    hot: OperatingPoint
    empty: OperatingPoint | None
    worst: tuple[RatingCheck, ...]
    cooling: CoolingResult | None
    cautions: tuple[Caution, ...]
    findings: tuple[Finding, ...]
    field: FieldResult
    start_up: StartUp | None

    def to_dict(self) -> dict[str, Any]:
        return {
            "title": self.title,
            "verdict": "pass" if self.shot.passed else "fail",
            "cold": self.cold.to_dict(),
            "hot": self.hot.to_dict(),
            "empty": None if self.empty is None else self.empty.to_dict(),
            "worst": [
                {"component": r.component, "quantity": r.quantity, "value": r.value, "used": r.used} for r in self.worst
            ],
            "start_up": None if self.start_up is None else self.start_up.to_dict(),
            "cooling": None if self.cooling is None else self.cooling.to_dict(),
            "cautions": [
                {"hazard": c.hazard, "text": c.text, "figure": c.figure, "source": str(c.source)} for c in self.cautions
            ],
            "findings": [f.to_dict() for f in self.findings],
        }


def electrical_report(shot: ShotResult, source: TankSource, field: FieldResult) -> TankReport:
    """Everything electrical about a finished shot; `field` is the cold field (for the empty coil and the stray field).

    Raises BadInput when the source cannot start on the cold part.
    """
    tank, job = source.tank.tank, shot.model.scene.job
    empty_coil = _empty(shot, field)
    points = list(_points(shot, tank, empty_coil))
    empty = _try(tank, empty_coil)
    every = [*points, empty] if empty is not None else points
    cooling = cooling_of(job, shot)
    findings = _findings(every, cooling)
    worst = _worst([p for p in every if p is not None])
    told = _cautions(job, shot, field, points, empty, cooling, source)
    start_up = start_of(tank, points[0])
    return TankReport(
        job.title, tank, shot, points[0], points[-1], empty, worst, cooling, told, findings, field, start_up
    )


def start_of(tank: TankInput, cold: OperatingPoint) -> StartUp | None:
    """Start and end of a shot at the cold operating point; None for a current-fed bridge, whose choke decides."""
    source = tank.source
    if source is None or source.current_fed:
        return None
    z = cold.coil_impedance
    coil = (z.real, z.imag / (2.0 * math.pi * cold.frequency))
    swing = source.swing * cold.drive
    modes = ring_modes(tank, coil, cold.frequency)
    longest = max((m.time_constant for m in modes), default=20.0 / cold.frequency)
    cycles = min(max(int(6.0 * longest * cold.frequency), 20), _MOST_CYCLES)
    up = ring_up(tank, coil, cold.frequency, cycles, supply=swing)
    down = ring_down(tank, coil, cold.frequency, 4.0 * longest, drive_voltage=swing)
    return StartUp(up, down, modes, drive_harmonics(tank, winding_coil(*coil), cold.frequency, _ORDERS))


def _empty(shot: ShotResult, field: FieldResult) -> tuple[float, float]:
    """(R, L) at the terminals without the part, leads included."""
    reading = field.unloaded
    if reading is None:
        raise BadInput("a tank needs a work coil; add a [coil] section")
    leads = shot.model.field.leads(field.frequency)
    return reading.resistance + leads.real, reading.inductance + leads.imag / (2.0 * math.pi * field.frequency)


def _points(shot: ShotResult, tank: TankInput, empty: tuple[float, float]) -> Iterator[OperatingPoint]:
    coil = shot.trace.coil
    on = np.flatnonzero(coil.current > 0.0)
    picks = np.unique(np.concatenate([on[:1], on[np.linspace(0, len(on) - 1, _LOOKS).astype(int)]])) if len(on) else [0]
    levels = programme_of(shot.model.scene.job).levels(list(shot.trace.time))
    for k in picks:
        loaded = float(coil.resistance[k]), float(coil.inductance[k])
        yield operating_point(tank, loaded, empty, levels[k] or 1.0)


def _try(tank: TankInput, coil: tuple[float, float]) -> OperatingPoint | None:
    try:
        return operating_point(tank, coil)
    except BadInput:  # many sources cannot run on the empty coil; the report says so
        return None


def _worst(points: list[OperatingPoint]) -> tuple[RatingCheck, ...]:
    found: dict[tuple[str, str], RatingCheck] = {}
    for point in points:
        for check in point.ratings:
            key = (check.component, check.quantity)
            if key not in found or check.used > found[key].used:
                found[key] = check
    return tuple(found.values())


def _findings(points: list[OperatingPoint], cooling: CoolingResult | None) -> tuple[Finding, ...]:
    told: dict[tuple[str, str], Finding] = {}
    for point in points:
        for finding in point.findings:
            told.setdefault((finding.code, finding.where), finding)
    return (*told.values(), *(cooling.findings if cooling is not None else ()))


def cooling_of(job: Job, shot: ShotResult) -> CoolingResult | None:
    """The water of a finished shot with its losses settled against the copper's temperature; None without [cooling]."""
    raw = job.later.get("cooling")
    if raw is None:
        return None
    known: Mapping[str, Element] = {e.name: e for e in coil_elements(job, shot)}
    circuit = circuit_from(read_cooling(raw, job.name), known, job.name)
    conductor, taken_at = shot.model.scene.conductor, shot.model.scene.coil_temperature
    if conductor is None or conductor.resistivity is None:
        return solve_cooling(circuit)
    rho = conductor.resistivity

    def loss(element: Element) -> Callable[[float], float]:
        # current crowds into a skin, so the loss goes with the square root of the resistivity
        return lambda kelvin: element.loss * math.sqrt(float(rho(kelvin)) / float(rho(taken_at)))

    return settle_losses(circuit, {name: loss(e) for name, e in known.items()})


def coil_elements(job: Job, shot: ShotResult) -> Iterator[Element]:
    """The water runs the job describes by itself: coil and leads, with their largest mean loss of the shot."""
    coil = job.coil
    if coil is None or not hasattr(coil.conductor, "material"):
        return
    trace = shot.trace
    induced = sum((b.power for b in trace.bodies.values()), start=np.zeros(len(trace.time)))
    leads = np.array([shot.model.field.leads(float(f)).real for f in trace.coil.frequency])
    own = trace.coil.power - induced - leads * trace.coil.current**2
    turns = shot.model.scene.section.turns
    length = sum(2.0 * math.pi * t.r * t.weight for t in turns)
    mean_diameter = 2.0 * float(np.mean([t.r for t in turns]))
    section = coil.conductor
    if section.section == "round tube":
        bore = round_bore(section.bore, length, coil_diameter=mean_diameter)
        wall = Wall(0.5 * (section.outside - section.bore))
    elif section.section == "rectangular tube":
        inner = section.width - 2 * section.wall, section.height - 2 * section.wall
        bore = rectangular_bore(*inner, length, coil_diameter=mean_diameter)
        wall = Wall(section.wall)
    else:
        return  # a solid conductor carries no water
    yield Element("coil", bore, float(max(own.max(), 0.0)), wall)
    if coil.leads is not None:
        run = 2.0 * coil.leads.length
        tube = round_bore(section.bore, run) if section.section == "round tube" else rectangular_bore(*inner, run)
        yield Element("leads", tube, float((leads * trace.coil.current**2).max()), wall)


def _cautions(
    job: Job,
    shot: ShotResult,
    field: FieldResult,
    points: list[OperatingPoint],
    empty: OperatingPoint | None,
    cooling: CoolingResult | None,
    source: TankSource,
) -> tuple[Caution, ...]:
    every = [*points, empty] if empty is not None else points
    bank = max((c.voltage for p in every for c in p.components if c.name == "tank"), default=None)
    farad = source.tank.tank.bank.capacitance
    facts = facts_of(job, shot, field, points[0].frequency, bank_voltage=bank, bank_capacitance=farad, cooling=cooling)
    return tuple(cautions(facts))
