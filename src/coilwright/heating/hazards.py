"""What a job is known to do to people: the facts behind its cautions, from its shot and its cold field."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from coilwright.cooling.result import CoolingResult
from coilwright.field.result import FieldResult
from coilwright.heating.result import ShotResult
from coilwright.job import Job
from coilwright.materials.material import Material
from coilwright.safety.cautions import Facts
from coilwright.safety.exposure import ExposureDistance, Group, exposure_distance
from coilwright.safety.stored import Store
from coilwright.section.quad9 import Array

GROUPS: tuple[Group, ...] = ("occupational", "general public")
_FARTHEST, _TABLE = 30.0, 120  # m and points: where the field of the coil is looked up


def facts_of(
    job: Job,
    shot: ShotResult,
    field: FieldResult,
    frequency: float,
    *,
    bank_voltage: float | None = None,
    bank_capacitance: float | None = None,
    cooling: CoolingResult | None = None,
) -> Facts:
    """Facts of a shot. `bank_voltage` V rms and `bank_capacitance` F where a tank is known, `cooling` where the water is."""
    stores: tuple[Store, ...] = ()
    if bank_voltage is not None and bank_capacitance is not None:
        stores = (Store("the tank capacitors", bank_capacitance, math.sqrt(2.0) * bank_voltage),)
    return replace(
        drawn_facts(job, shot.model.scene.materials.values(), frequency),
        coil_voltage=float(shot.trace.coil.voltage.max()) if job.coil is not None else None,
        tank_voltage=bank_voltage,
        stores=stores,
        distances=tuple(stray_distances(field, float(shot.trace.coil.current.max()), frequency)),
        water_cooled=cooling is not None or _hollow(job),
        water_outlet=None if cooling is None else cooling.outlet_temperature,
        hottest_part=max(float(b.maximum.max()) for b in shot.trace.bodies.values()),
    )


def drawn_facts(job: Job, materials: Iterable[Material], frequency: float) -> Facts:
    """What a job file alone tells, with the materials of its bodies; `frequency` Hz."""
    return Facts(
        frequency=frequency,
        water_cooled=_hollow(job),
        evacuated_glass=any("vacuum" in (b.space, b.inside_space) for b in job.bodies)
        and any(m.glass is not None for m in materials),
        toxic_charge=any(b.charge is not None for b in job.bodies),
        flux_or_filler=any("braz" in b.material or "solder" in b.material for b in job.bodies),
    )


def _hollow(job: Job) -> bool:
    return job.coil is not None and "tube" in job.coil.conductor.section


def stray_distances(field: FieldResult, current: float, frequency: float) -> Iterator[ExposureDistance]:
    """How far from the coil its field falls to the published levels, in the worst of three directions."""
    turns = field.state.reduced.coil
    if turns is None or abs(field.coil_current) == 0.0:
        return
    scale = current / abs(field.coil_current)
    middle = float(np.mean(turns.skin.collocation[:, 1]))
    nearest = 2.0 * float(turns.skin.collocation[:, 0].max())
    # The field is smooth out there: a table of its logarithm answers the search.
    away = np.geomspace(nearest, _FARTHEST, _TABLE)
    flux = scale * np.max([_modulus(field, away, middle, d) for d in ((0, 1), (0, -1), (1, 0))], axis=0)

    def at(distance: float) -> float:
        return math.exp(float(np.interp(math.log(distance), np.log(away), np.log(flux))))

    for group in GROUPS:
        yield exposure_distance(at, frequency, group, shortest=nearest, longest=_FARTHEST)


def _modulus(field: FieldResult, away: Array, middle: float, direction: tuple[int, int]) -> Array:
    places = np.column_stack([1e-6 + away * direction[0], middle + away * direction[1]])
    return np.asarray(np.linalg.norm(field.flux_density_at(places), axis=1))
