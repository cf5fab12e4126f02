"""A job made ready to be shot: meshes, field side, thermal stepper, kept for repeated shots."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.field.inputs import FieldModel
from coilwright.field.leads import lead_pair
from coilwright.field.setup import MeshedScene, field_model, mesh_scene
from coilwright.field.solve import Field
from coilwright.field.state import FieldState
from coilwright.heat.setup import thermal_model
from coilwright.heat.stepper import Stepper
from coilwright.heating.march import Loss
from coilwright.job import Job
from coilwright.section.quad9 import Array, IntArray
from coilwright.section.scene import Scene
from coilwright.section.sizes import Level

# A saturating body is followed from step to step with a warm start. Newton squares its error, so that a last change of
# this size leaves about 1e-4 of the field; temperatures move by 0.03 K (own runs).
_NEWTON = 1e-2
# Frequencies closer than this share of one another use the same condensation.
_SAME_FREQUENCY = 2e-4


class FieldOfShot:
    """The field of one geometry at changing temperatures, currents and frequencies, on the thermal mesh.

    Holds the last state as the start of the next Newton iteration; otherwise without memory.
    """

    def __init__(self, meshed: MeshedScene, thermal_regions: tuple[str, ...]) -> None:
        self.scene = meshed.scene
        self.model: FieldModel = field_model(meshed)
        self.base = Field.of(self.model)
        self._at: dict[float, Field] = {self.model.frequency: self.base}
        self._elements = _live_elements(meshed, self.model)
        self._regions = thermal_regions
        self._past: list[tuple[float, FieldState]] = []
        self._shape = (sum(len(g.mesh.quads) for g in meshed.mesh.groups), 16)

    @cached_property
    def nonlinear(self) -> bool:
        return any(
            law.magnetic is not None and law.magnetic.saturating for b in self.model.bodies for law in b.laws.values()
        )

    def at_frequency(self, frequency: float) -> Field:
        """The field solver at a frequency (Hz); a near one already made serves too."""
        for known, solver in self._at.items():
            if abs(known / frequency - 1.0) < _SAME_FREQUENCY:
                return solver
        if len(self._at) > 24:  # a source that follows a resonance visits many; keep the memory small
            self._at = {self.model.frequency: self.base}
        self._at[frequency] = self.base.with_frequency(frequency)
        return self._at[frequency]

    def solve(self, time: float, temperature: Array, current: float, frequency: float) -> Loss:
        solver = self.at_frequency(frequency)
        drive = solver.drive(current if self.nonlinear and current > 0.0 else 1.0)
        if self.model.coil is None:
            unit = {name: c / abs(c) if c else c for name, c in drive.net_currents.items()}
            drive = type(drive)(0.0, 0.0, unit)
        square = abs(drive.coil_current) ** 2 or 1.0
        start = self._start(time) if self.nonlinear else None
        state = solver.state(temperature[self._elements], drive, start=start, tolerance=_NEWTON)
        if self.nonlinear:
            earlier = [(t, s) for t, s in self._past if t < time]
            self._past = [*earlier[-1:], (time, state)]
        density = np.zeros(self._shape)
        density[self._elements] = state.loss_density / square
        bodies = {name: p / square for name, p in state.region_powers.items()}
        supplied = state.supplied_power
        total = sum(state.region_powers.values()) + float(np.sum(state.turn_powers))
        balance = (total - supplied) / supplied if supplied > 0.0 else 0.0
        return Loss(time, density, self._impedance(state, frequency), bodies, balance)

    def _start(self, time: float) -> FieldState | None:
        """Where Newton begins: the last state, carried on in a straight line when there are two."""
        if not self._past:
            return None
        last = self._past[-1][1]
        if len(self._past) < 2 or time <= self._past[-1][0]:
            return last
        (t0, before), (t1, _) = self._past
        share = min((time - t1) / (t1 - t0), 2.0)
        return replace(last, potential=last.potential + share * (last.potential - before.potential))

    def _impedance(self, state: FieldState, frequency: float) -> complex:
        if self.model.coil is None:
            (voltage,) = state.loop_voltages.values()
            return complex(voltage)
        return state.impedance + self.leads(frequency)

    def leads(self, frequency: float) -> complex:
        """Impedance (ohm) of the leads."""
        coil, conductor = self.scene.job.coil, self.scene.conductor
        if coil is None or coil.leads is None or conductor is None or conductor.resistivity is None:
            return 0j
        rho = float(conductor.resistivity(np.array([self.scene.coil_temperature]))[0])
        return lead_pair(coil.leads, coil.conductor, rho, frequency).impedance


def _live_elements(meshed: MeshedScene, model: FieldModel) -> IntArray:
    """Elements of the thermal mesh (all groups in order) that the field sees, in the order of the live bodies."""
    live = {body.mesh.regions for body in model.bodies}
    out, first = [np.zeros(0, dtype=np.int64)], 0
    for group in meshed.mesh.groups:
        count = len(group.mesh.quads)
        if group.mesh.regions in live:
            out.append(np.arange(first, first + count))
        first += count
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


def shot_model(scene: Scene, frequency: float, level: Level = "normal") -> ShotModel:
    """Meshes, stepper and field side of a scene at a frequency (Hz)."""
    meshed = mesh_scene(scene, frequency, level)
    thermal = thermal_model(scene, meshed.mesh)
    return ShotModel(meshed, Stepper(thermal), FieldOfShot(meshed, thermal.mesh.regions))
