"""From a job's meshed scene to the thermal model: regions, spaces, charges, glass, joints and contacts."""

from __future__ import annotations

import math
from dataclasses import replace

from coilwright.heat.inputs import (
    BandOptics,
    ChargeInput,
    InterfaceContact,
    LumpedContact,
    ThermalModel,
    ThermalRegion,
)
from coilwright.job import Job
from coilwright.job.schema_body import Body, Charge
from coilwright.materials import Material, charge_law
from coilwright.materials.charge import ChargeLaw
from coilwright.section.mesh import Mesh, union
from coilwright.section.meshing import SectionMesh
from coilwright.section.scene import Scene


def thermal_model(drawn: Scene, meshes: SectionMesh) -> ThermalModel:
    """All bodies of the job as one thermal model; films carry no heat of their own (they are microns thick)."""
    job = drawn.job
    mesh = union([g.mesh for g in meshes.groups])
    regions = tuple(_region(job.body(name), drawn.materials[name], job, mesh) for name in mesh.regions)
    contacts = tuple(LumpedContact(*c.bodies, c.conductance) for c in job.contacts)
    interfaces = tuple(InterfaceContact(*j.bodies, j.contact) for j in job.joints if j.contact is not None)
    return ThermalModel(mesh, regions, job.surroundings.temperature, contacts, interfaces)


def _region(body: Body, material: Material, job: Job, mesh: Mesh) -> ThermalRegion:
    in_air = body.space == "air"
    melting = [limit.temperature for limit in material.limits if limit.kind == "melting"]
    optics = None
    if material.glass is not None and body.overrides.emissivity is None and body.emissivity is None:
        optics = BandOptics.of_wall(material.glass, wall_thickness(mesh, body.name))
    return ThermalRegion(
        body.name,
        material,
        body.space,
        job.surroundings.convection if in_air else 0.0,
        0.0 if body.support is None else body.support.conductance,
        body.emissivity,
        optics,
        None if body.charge is None else charge_input(body.charge),
        min(melting, default=None),
        valid_range(material),
    )


def wall_thickness(mesh: Mesh, region: str) -> float:
    """Thickness (m) of a thin wall: twice its volume over its whole surface."""
    elements = mesh.elements(region)
    own = Mesh(mesh.points, mesh.quads[elements], mesh.region[elements], mesh.regions)
    return 2.0 * own.volume() / own.surface_area()


def charge_input(charge: Charge) -> ChargeInput:
    """The law of the charge's kind with the job's own kinetics in place."""
    law: ChargeLaw = charge_law(charge.kind)
    law = replace(
        law,
        heat_of_reaction=_or(charge.heat, law.heat_of_reaction),
        rate_constant=_or(charge.rate_constant, law.rate_constant),
        activation_energy=_or(charge.activation_energy, law.activation_energy),
        order=_or(charge.order, law.order),
    )
    return ChargeInput(charge.mass, law, deposit_share=law.metal_fraction)


def _or(given: float | None, usual: float) -> float:
    return usual if given is None else given


def valid_range(material: Material) -> tuple[float, float]:
    """Temperatures (K) in which every curve the heat uses has data."""
    curves = (material.thermal_conductivity, material.specific_heat, material.emissivity)
    lowest = max(c.valid.lowest for c in curves)
    highest = min(c.valid.highest for c in curves)
    return (lowest if math.isfinite(lowest) else 0.0), highest
