"""The cold field of a job, with its error estimate and its drive worked out."""

from __future__ import annotations

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.field.inputs import FieldModel
from coilwright.field.leads import LeadPair, lead_pair
from coilwright.field.report import FieldReport
from coilwright.field.scene_findings import scene_findings
from coilwright.field.setup import field_model, mesh_scene
from coilwright.field.solve import Field
from coilwright.field.state import FieldState
from coilwright.heating.drive import Drive
from coilwright.heating.setup import drive_of
from coilwright.job import Job
from coilwright.section.scene import Scene, scene
from coilwright.section.sizes import Level

_COARSER: dict[Level, Level] = {"fine": "normal", "normal": "coarse", "coarse": "coarse"}
# A current that depends on the impedance is found by repetition; with saturation the impedance depends on the current.
_SETTLED = 1e-6
_MOST = 40


def field(job: Job, *, level: Level = "normal", estimate_error: bool = True) -> FieldReport:
    """Field of a job at its drive and start temperatures.

    `level` sets the meshes; with `estimate_error` the next coarser level is solved too. Raises BadInput for a section that
    cannot be, NotConverged when a saturating body does not settle.
    """
    drive = drive_of(job)
    drawn = scene(job)
    meshed = mesh_scene(drawn, drive.frequency, level)
    model = field_model(meshed)
    temperatures = start_temperatures(drawn, model)
    solver, current, near = _settled(Field.of(model), drive, drawn, temperatures)
    coarse = None
    if estimate_error:
        rough = Field.of(field_model(mesh_scene(drawn, drive.frequency, _COARSER[level])))
        coarse = rough.with_frequency(solver.model.frequency)
    result = solver.solve(current, temperatures, coarse=coarse, start=near)
    return FieldReport(result, leads_of(drawn, solver.model.frequency), meshed, result.findings + scene_findings(drawn))


def leads_of(drawn: Scene, frequency: float) -> LeadPair:
    """The leads of the scene's coil at a frequency (Hz)."""
    coil, conductor = drawn.job.coil, drawn.conductor
    if coil is None or conductor is None or conductor.resistivity is None:
        return LeadPair(0.0, 0.0, frequency)
    rho = float(conductor.resistivity(np.array([drawn.coil_temperature]))[0])
    return lead_pair(coil.leads, coil.conductor, rho, frequency)


def start_temperatures(drawn: Scene, model: FieldModel) -> dict[str, float]:
    """Temperature (K) of every live body when the shot begins; joined bodies start at the mean of theirs."""
    return {
        body.name: float(np.mean([drawn.start_temperature(region) for region in body.mesh.regions]))
        for body in model.bodies
    }


def settled(solver: Field, drive: Drive, drawn: Scene, temperatures: dict[str, float]) -> tuple[Field, float]:
    """The field at the frequency, and the coil current (A rms), at which drive and loaded impedance agree."""
    return _settled(solver, drive, drawn, temperatures)[:2]


def _settled(
    solver: Field, drive: Drive, drawn: Scene, temperatures: dict[str, float]
) -> tuple[Field, float, FieldState | None]:
    """Also the last state solved; each begins from the one before, which a saturating body settles from in a step or two."""
    answer = drive.respond(1.0, 1.0 + 0j, drive.frequency)
    state: FieldState | None = None
    if solver.model.coil is None:
        return solver, answer.current, state
    current, frequency = answer.current or 1.0, drive.frequency
    for _ in range(_MOST):
        solver = solver if solver.model.frequency == frequency else solver.with_frequency(frequency)
        state = solver.state(temperatures, solver.drive(current), start=state)
        answer = drive.respond(1.0, state.impedance + leads_of(drawn, frequency).impedance, frequency)
        if answer.current <= 0.0:
            raise BadInput(Fault(f"{drawn.job.name}: source", f"cannot run on this coil: {answer.limited_by}"))
        near = abs(answer.current - current) <= _SETTLED * answer.current
        same = abs(answer.frequency / frequency - 1.0) <= _SETTLED
        current, frequency = answer.current, answer.frequency
        if near and same:
            break
    return solver, current, state
