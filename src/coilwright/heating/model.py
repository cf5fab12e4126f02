"""A job made ready to be shot: meshes, field side, thermal stepper, kept for repeated shots."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.field.inputs import FieldModel
from coilwright.field.leads import lead_pair
from coilwright.field.reduced import Drive as FieldDrive
from coilwright.field.setup import MeshedScene, field_model, mesh_scene
from coilwright.field.solve import Field
from coilwright.field.state import FieldState
from coilwright.heat.setup import thermal_model
from coilwright.heat.stepper import Stepper
from coilwright.heating.films import FilmLoad, film_loads
from coilwright.heating.march import Loss
from coilwright.job import Job
from coilwright.section.quad9 import Array, IntArray
from coilwright.section.scene import Scene
from coilwright.section.sizes import Level


@dataclass(frozen=True)
class Settling:
    """What may be left of every step: of a saturating field as a share of A, of the temperatures in K."""

    field: float
    heat: float


# A saturating body is followed from step to step with a warm start. At this tolerance the power of every state is within 2e-4
# of what 1e-7 gives (5e-5 rms; hardened pin, coarse mesh, own runs) and the power balance closes to 5e-4; at 1e-2, for shots
# that are rough in all else, within 2e-3 (4e-4 rms). What the heat leaves goes into the next step: ten times as much moves the
# temperatures of rough shots of the five examples by up to 0.2 K at the end.
SETTLED, ROUGHLY_SETTLED = Settling(2e-3, 1e-3), Settling(1e-2, 1e-2)
# A source that follows its resonance asks for ever new frequencies. Fields are condensed on a grid of this ratio and
# carried to the frequency asked by power laws found from two neighbours of the grid. A place is left only well beyond
# the middle between two, so that a frequency that wanders about it does not ask for both. Against a grid of 1.0001:
# frequency within 1e-4, temperatures within 0.1 K (saturating disc at 490 degC) to 1.4 K (graphite, 1.3e3 K) of the same
# steps at a tolerance of 2 K (own runs on the examples).
_GRID = math.log(1.02)
_LEAVE = 0.75
# The exponents belong to a state of the part: they are found anew when its loss per A^2 has moved by this share.
_SAME_LAWS = 0.2
# Newton begins this share of the way on from the last state to where a straight line through the last two leads. All of it,
# or none, asks for an eighth to a quarter more factors and steps (own runs on the hardened pin): what is left open of two
# states weighs more in their difference, and a front does not run in a straight line.
_CARRIED_ON = 0.35
_SAME = 1e-4  # currents that differ by less see the same saturation


def coil_leads(scene: Scene, frequency: float) -> complex:
    """Impedance (ohm) of the coil's own leads."""
    coil, conductor = scene.job.coil, scene.conductor
    if coil is None or coil.leads is None or conductor is None or conductor.resistivity is None:
        return 0j
    rho = float(conductor.resistivity(np.array([scene.coil_temperature]))[0])
    return lead_pair(coil.leads, coil.conductor, rho, frequency).impedance


class FieldOfShot:
    """The field of one geometry at changing temperatures, currents and frequencies, on the thermal mesh.

    Holds the last states as the start of the next Newton iteration and the last answer at equal temperatures. `settled` is the
    last relative change of A at which a saturating field counts as found.
    """

    def __init__(self, meshed: MeshedScene, settled: float = SETTLED.field) -> None:
        self.scene, self._settled = meshed.scene, settled
        self.model: FieldModel = field_model(meshed)
        self.base = Field.of(self.model)
        self._at: dict[int, Field] = {0: self.base}
        self._films = film_loads(meshed)
        self._elements = _live_elements(meshed, self.model, self._films)
        self._shape = (sum(len(g.mesh.quads) for g in meshed.mesh.groups), 16)
        self._past: list[tuple[float, FieldState]] = []
        self._solved: tuple[Array, float, dict[int, FieldState]] | None = None
        self._place = 0
        self._laws: tuple[float, PowerLaws] | None = None
        self._leads: tuple[float, complex] = (0.0, 0j)

    @cached_property
    def nonlinear(self) -> bool:
        return any(
            law.magnetic is not None and law.magnetic.saturating for b in self.model.bodies for law in b.laws.values()
        )

    def solve(self, time: float, temperature: Array, current: float, frequency: float) -> Loss:
        """The loss per A^2 and the loaded impedance at `frequency` (Hz)."""
        place = self._nearest(frequency)
        state = self._state(place, time, temperature, current)
        on_grid = self._frequency(place)
        ratio = frequency / on_grid
        laws = PowerLaws() if abs(ratio - 1.0) < 1e-9 else self._power_laws(place, time, temperature, current)
        bodies_scale, coil_scale = ratio**laws.bodies, ratio**laws.coil
        square = _square(state)
        bodies = {name: p * bodies_scale / square for name, p in state.region_powers.items()}
        density = self._density(state.loss_density * (bodies_scale / square), bodies)
        in_coil = float(np.sum(state.turn_powers)) / square
        impedance = self._impedance(state)
        if self.model.coil is not None:
            balance = (sum(state.region_powers.values()) / square + in_coil) / impedance.real - 1.0
            grown = sum(bodies.values()) + in_coil * coil_scale - sum(bodies.values()) / bodies_scale - in_coil
            impedance = complex(impedance.real + grown, impedance.imag * ratio**laws.reactance) + self.leads(frequency)
        else:
            balance = sum(state.region_powers.values()) / square / impedance.real - 1.0
        return Loss(time, density, impedance, bodies, balance)

    def _density(self, live: Array, bodies: dict[str, float]) -> Array:
        """Loss (W/m^3 per A^2) on the thermal mesh; what a film loses heats the body it lies on."""
        density = np.zeros(self._shape)
        bulk = len(live) - sum(len(film.volume) for film in self._films)
        density[self._elements[:bulk]] = live[:bulk]
        row = bulk
        for film in self._films:  # the last of the live bodies, in this order
            film.add(density, live[row : row + len(film.volume)])
            bodies[film.carrier] = bodies.get(film.carrier, 0.0) + bodies.pop(film.name)
            row += len(film.volume)
        return density

    def _state(self, place: int, time: float, temperature: Array, current: float) -> FieldState:
        """The field at a grid frequency; nothing is solved twice at the same temperatures."""
        amperes = current if self.nonlinear and current > 0.0 else 1.0
        if self._solved is None or self._solved[0] is not temperature or abs(amperes / self._solved[1] - 1.0) > _SAME:
            self._solved = (temperature, amperes, {})
        known = self._solved[2]
        if place not in known:
            if place not in self._at:
                if len(self._at) > 16:  # a long travel: keep the memory small
                    self._at = {0: self.base}
                self._at[place] = self.base.with_frequency(self._frequency(place))
            solver = self._at[place]
            start = self._start(time) if self.nonlinear else None
            drive = _unit_drive(solver, amperes)
            known[place] = solver.state(temperature[self._elements], drive, start=start, tolerance=self._settled)
            if self.nonlinear:
                earlier = [(t, s) for t, s in self._past if t < time]
                self._past = [*earlier[-1:], (time, known[place])]
        return known[place]

    def _nearest(self, frequency: float) -> int:
        """The place on the grid to solve at: the last one while it is near enough."""
        wanted = math.log(frequency / self.model.frequency) / _GRID
        if abs(wanted - self._place) > _LEAVE:
            self._place = round(wanted)
        return self._place

    def _frequency(self, place: int) -> float:
        return self.model.frequency * math.exp(_GRID * place)

    def _power_laws(self, place: int, time: float, temperature: Array, current: float) -> PowerLaws:
        """Exponents between a grid frequency and its neighbour, found anew when the part has changed."""
        here = self._state(place, time, temperature, current)
        resistance = self._impedance(here).real
        if self._laws is None or abs(resistance / self._laws[0] - 1.0) > _SAME_LAWS:
            there = self._state(place + 1, time, temperature, current)
            self._laws = (resistance, PowerLaws.between(here, there))
        return self._laws[1]

    def _impedance(self, state: FieldState) -> complex:
        if self.model.coil is None:
            (voltage,) = state.loop_voltages.values()
            return complex(voltage / math.sqrt(_square(state)))
        return state.impedance

    def leads(self, frequency: float) -> complex:
        if self._leads[0] != frequency:
            self._leads = (frequency, coil_leads(self.scene, frequency))
        return self._leads[1]

    def _start(self, time: float) -> FieldState | None:
        """Where Newton begins: the last state, carried on some way when there are two."""
        if not self._past:
            return None
        last = self._past[-1][1]
        if len(self._past) < 2 or time <= self._past[-1][0]:
            return last
        (t0, before), (t1, _) = self._past
        share = _CARRIED_ON * min((time - t1) / (t1 - t0), 2.0)
        return replace(last, potential=last.potential + share * (last.potential - before.potential))


@dataclass(frozen=True)
class PowerLaws:
    """Exponents of frequency: loss in the bodies and loss in the coil, per A^2, and the coil's reactance."""

    bodies: float = 0.0
    coil: float = 0.0
    reactance: float = 1.0

    @classmethod
    def between(cls, here: FieldState, there: FieldState) -> PowerLaws:
        span = math.log(there.reduced.omega / here.reduced.omega)
        pairs = [
            [sum(s.region_powers.values()) / _square(s) for s in (here, there)],
            [float(np.sum(s.turn_powers)) / _square(s) for s in (here, there)],
        ]
        bodies, coil = (math.log(b / a) / span if a > 0.0 and b > 0.0 else 0.0 for a, b in pairs)
        if here.reduced.coil is None:  # pins have no reactance of a coil
            return cls(bodies, coil)
        return cls(bodies, coil, math.log(there.impedance.imag / here.impedance.imag) / span)


def _square(state: FieldState) -> float:
    """Square (A^2) of the current that drives a state: of the coil, or of the pins when there is no coil."""
    currents = [abs(state.drive.coil_current), *(abs(c) for c in state.drive.net_currents.values())]
    return next(c for c in currents if c > 0.0) ** 2


def _unit_drive(solver: Field, amperes: float) -> FieldDrive:
    """The solver's drive at a current; pins without a coil are driven with 1 A."""
    drive = solver.drive(amperes)
    if solver.model.coil is not None:
        return drive
    return FieldDrive(0.0, 0.0, {name: c / abs(c) for name, c in drive.net_currents.items()})


def _live_elements(meshed: MeshedScene, model: FieldModel, films: Sequence[FilmLoad]) -> IntArray:
    """Elements of the thermal mesh (all groups in order) that the field sees, in the order of the live bodies.

    A film is not in the thermal mesh: the elements below it stand for it and give it their temperature.
    """
    live = {body.mesh.regions for body in model.bodies}
    out, first = [np.zeros(0, dtype=np.int64)], 0
    for group in meshed.mesh.groups:
        count = len(group.mesh.quads)
        if group.mesh.regions in live:
            out.append(np.arange(first, first + count))
        first += count
    out += [film.below for film in films]
    return np.concatenate(out)


@dataclass(frozen=True, eq=False)
class ShotModel:
    """Everything of a job that stays the same from shot to shot."""

    meshed: MeshedScene
    stepper: Stepper
    field: FieldOfShot

    @property
    def scene(self) -> Scene:
        return self.meshed.scene

    def for_job(self, job: Job) -> ShotModel:
        """The same bodies and coil under another drive, programme or acceptance.

        Raises BadInput when the job differs in what the meshes were made for.
        """
        mine = self.scene.job
        if job is mine:
            return self
        same = job.bodies == mine.bodies and job.coil == mine.coil and job.joints == mine.joints
        if not same or job.drive.frequency != mine.drive.frequency:
            what = "must have the bodies, the coil and the frequency of the first shot; only drive and acceptance may differ"
            raise BadInput(Fault(f"{job.name}: a further shot", what))
        return replace(self, meshed=replace(self.meshed, scene=replace(self.scene, job=job)))

    @cached_property
    def start_temperatures(self) -> Mapping[str, float]:
        return {name: self.scene.start_temperature(name) for name in self.stepper.model.mesh.regions}


def shot_model(scene: Scene, frequency: float, level: Level = "normal", *, settled: Settling = SETTLED) -> ShotModel:
    """Meshes, stepper and field side of a scene at a frequency (Hz)."""
    meshed = mesh_scene(scene, frequency, level)
    thermal = thermal_model(scene, meshed.mesh)
    return ShotModel(meshed, Stepper(thermal, settled.heat), FieldOfShot(meshed, settled.field))
