"""The cold field of a job, with its error estimate and its drive worked out."""

from __future__ import annotations

import numpy as np

from coilwright.field.inputs import FieldModel
from coilwright.field.leads import LeadPair, lead_pair
from coilwright.field.report import FieldReport
from coilwright.field.setup import field_model, mesh_scene
from coilwright.field.solve import Field
from coilwright.heating.drive import Drive
from coilwright.heating.setup import fixed_drive
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
    drive = fixed_drive(job)
    drawn = scene(job)
    meshed = mesh_scene(drawn, drive.frequency, level)
    model = field_model(meshed)
    leads = leads_of(drawn, drive.frequency)
    solver = Field.of(model)
    temperatures = start_temperatures(drawn, model)
    current = _settled_current(solver, drive, leads, temperatures)
    coarse = None
    if estimate_error:
        coarse = Field.of(field_model(mesh_scene(drawn, drive.frequency, _COARSER[level])))
    result = solver.solve(current, temperatures, coarse=coarse)
    return FieldReport(result, leads, meshed, result.findings)


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


def _settled_current(solver: Field, drive: Drive, leads: LeadPair, temperatures: dict[str, float]) -> float:
    """Coil current (A rms) at which the drive and the loaded impedance agree."""
    current = drive.respond(1.0, 1.0 + 0j, drive.frequency).current
    if solver.model.coil is None:
        return current
    for _ in range(_MOST):
        state = solver.state(temperatures, solver.drive(current))
        answer = drive.respond(1.0, state.impedance + leads.impedance, drive.frequency)
        settled = abs(answer.current - current) <= _SETTLED * answer.current
        current = answer.current
        if settled:
            break
    return current
