"""What stands where and of what: a job's section together with the material of every body and of the conductor.

Field and heat both start from here, so that both see the same geometry and the same overrides.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from coilwright.job import Job
from coilwright.job.schema_body import Overrides
from coilwright.materials import Material
from coilwright.section.build import build_section
from coilwright.section.geometry import Section
from coilwright.section.overlap import check_geometry

# A copper work coil with no water temperature given is taken at this temperature (K).
COLD_COIL = 293.15
# How far above the highest temperature asked for a body may go during a shot; only mesh sizes depend on it (K).
_OVERSHOOT = 150.0
_BYSTANDER_RISE = 300.0
_WORK_HIGHEST = 1273.15


@dataclass(frozen=True, eq=False)
class Scene:
    """`materials` by body name, overrides applied; `conductor` is the coil's or None without a coil."""

    job: Job
    section: Section
    materials: Mapping[str, Material]
    conductor: Material | None

    @cached_property
    def coil_temperature(self) -> float:
        """Temperature (K) at which the conductor's resistivity is taken."""
        coil = self.job.coil
        return COLD_COIL if coil is None or coil.water_temperature is None else coil.water_temperature

    def start_temperature(self, body: str) -> float:
        """Temperature (K) of a body when the shot begins."""
        given = self.job.body(body).initial_temperature
        return self.job.surroundings.temperature if given is None else given

    def temperature_range(self, body: str) -> tuple[float, float]:
        """Temperatures (K) the body is likely to pass through: from its start to somewhat above what is asked of it."""
        start = self.start_temperature(body)
        asked = [a.reaches or a.above for a in self.job.accept if a.body == body and (a.reaches or a.above) is not None]
        if asked:
            return start, max(start, max(t for t in asked if t is not None) + _OVERSHOOT)
        if self.job.body(body).role == "work":
            return start, max(start, _WORK_HIGHEST)
        return start, start + _BYSTANDER_RISE


def material_with(material: Material, overrides: Overrides) -> Material:
    """The material with the constants and factors a job gives for one body."""
    given = overrides.model_dump()
    factors = {key: given.pop(f"{key}_factor") for key in ("resistivity", "permeability")}
    return material.with_overrides(**given).with_factors(**factors)


def scene(job: Job, *, checked: bool = True) -> Scene:
    """Section and materials of a job. Raises BadInput for bodies that overlap or touch without being joined."""
    section = build_section(job)
    if checked:
        check_geometry(section)
    library = job.library()
    materials = {b.name: material_with(library.get(b.material), b.overrides) for b in job.bodies}
    conductor = None
    if job.coil is not None:
        conductor = material_with(library.get(job.coil.conductor.material), job.coil.conductor.overrides)
    return Scene(job, section, materials, conductor)
