"""The cheap look before a shot: can the power at hand bring in the heat that is asked for at all?

A bound, not an estimate: nothing is lost, all power of all bodies counts, the largest of three material states is taken
for the whole time, and twice that is allowed. What fails here fails by far; everything else gets its shot.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coilwright.errors import NotConverged
from coilwright.heating.criteria import Criterion
from coilwright.heating.drive import Drive
from coilwright.heating.model import ShotModel
from coilwright.heating.setup import criteria_of, programme_of
from coilwright.materials import charge_law

_GENEROUS = 2.0  # for the frequency a source ends up at and for states between the three
_STATES = (0.0, 0.5, 0.98)  # of the way to the temperature asked


@dataclass(frozen=True)
class Shortage:
    """An acceptance that the power at hand cannot meet: `by` the natural logarithm of heat needed over heat at hand (5 for
    a source that does not run at all)."""

    name: str
    by: float
    said: str


def short_of_energy(model: ShotModel, drive: Drive) -> Shortage | None:
    """The worst shortage of heat among what must be reached, None when there is none (or no coil to look at)."""
    job = model.scene.job
    if model.scene.conductor is None or job.drive.shot_time is None:
        return None
    end = job.drive.shot_time
    level = max((s.level for s in programme_of(job).stages), default=1.0)
    stalled = _stalled(model, drive, level)
    if stalled is not None:
        return stalled
    burning = sum(
        b.charge.mass * charge_law(b.charge.kind).heat_of_reaction for b in job.bodies if b.charge is not None
    )
    worst: Shortage | None = None
    for c in criteria_of(job):
        if c.kind not in ("reaches", "holds") or c.at not in ("coldest", "mean"):
            continue
        needed = _heat(model, c) - burning
        time = end - (c.lasting or 0.0) if c.kind == "holds" else min(end, c.within or end)
        if needed <= 0.0 or time <= 0.0:
            continue
        at_hand = _GENEROUS * _power(model, drive, c, level) * time
        if at_hand >= needed:
            continue
        by = float(np.log(needed / max(at_hand, 1e-9 * needed)))
        if worst is None or by > worst.by:
            said = f"needs {needed:.3g} J and gets at most {at_hand:.3g} J in {time:.3g} s"
            worst = Shortage(f"{c.body}: enough power, by the cold field", by, said)
    return worst


def _stalled(model: ShotModel, drive: Drive, level: float) -> Shortage | None:
    """A source that cannot run on the cold coil at all."""
    base = model.field.base
    start = {b.name: model.scene.start_temperature(b.mesh.regions[0]) for b in base.model.bodies}
    z = base.state(start).impedance + model.field.leads(base.model.frequency)
    answer = drive.respond(level, z, base.model.frequency)
    if answer.current > 0.0:
        return None
    return Shortage("the source runs on the coil", 5.0, answer.limited_by or "it does not run")


def _heat(model: ShotModel, c: Criterion) -> float:
    """Heat (J) that brings the body from its start to the temperature asked."""
    scene = model.scene
    material = scene.materials[c.body]
    bounds = material.volumetric_enthalpy(np.array([scene.start_temperature(c.body), c.limit]))
    return float(bounds[1] - bounds[0]) * scene.section.body(c.body).volume


def _power(model: ShotModel, drive: Drive, c: Criterion, level: float) -> float:
    """Largest power (W) of all bodies together with the work cold, half way and nearly there."""
    base, scene = model.field.base, model.scene
    start = {b.name: scene.start_temperature(b.mesh.regions[0]) for b in base.model.bodies}
    most, current = 0.0, 1.0
    for share in _STATES:
        hot = {b.name: start[b.name] + share * (c.limit - start[b.name]) for b in base.model.bodies if b.work}
        try:
            for _ in range(2 if model.field.nonlinear else 1):
                state = base.state({**start, **hot}, base.drive(current))
                z = state.impedance + model.field.leads(base.model.frequency)
                carried, current = current, drive.respond(level, z, base.model.frequency).current or 1e-9
        except NotConverged:
            return np.inf
        most = max(most, sum(state.region_powers.values()) * (current / carried) ** 2)
    return most
