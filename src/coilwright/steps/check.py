"""Reading a job through: its section, clearances, skin depths and whatever looks doubtful."""

from __future__ import annotations

import math

import numpy as np

from coilwright.evidence import Finding
from coilwright.field.look import BodyCheck, CheckResult
from coilwright.field.setup import mesh_scene, sees_field, skin_depth
from coilwright.job import Job
from coilwright.materials import Material
from coilwright.section.overlap import check_geometry, clearances
from coilwright.section.scene import Scene, scene

# A tube wall of at least 1.5 skin depths carries the coil current as well as a solid one (the optimum is pi/2).
_WALL_IN_SKINS = 1.2
_THIN_PART = 2.0  # diameter or wall in skin depths below which the field shines through


def check(job: Job) -> CheckResult:
    """Read a job through. Raises BadInput for bodies that overlap or touch without being joined."""
    drawn = scene(job, checked=False)
    found = list(check_geometry(drawn.section))
    frequency = job.drive.frequency
    bodies = tuple(_body(drawn, name, frequency) for name in drawn.materials if _solid(drawn, name))
    unknowns = 0
    if frequency is not None:
        unknowns = mesh_scene(drawn, frequency).mesh.boundary_unknowns
        found += _conductor_findings(drawn, frequency)
        found += [f for b in bodies for f in _thin_findings(b)]
    return CheckResult(drawn, bodies, tuple(clearances(drawn.section)), unknowns, tuple(found))


def _solid(drawn: Scene, name: str) -> bool:
    return any(b.name == name for b in drawn.section.bodies)


def _body(drawn: Scene, name: str, frequency: float | None) -> BodyCheck:
    material, body = drawn.materials[name], drawn.section.body(name)
    low, high = drawn.temperature_range(name)
    cold = hot = None
    if frequency is not None and material.conducting and sees_field(material):
        cold, hot = (_skin(material, t, frequency) for t in (low, high))
    outline = body.outer
    thickness = 2.0 * outline.area / float(outline.lengths.sum())
    return BodyCheck(name, material.name, body.volume * material.density, thickness, cold, hot, high)


def _skin(material: Material, kelvin: float, frequency: float) -> float:
    at = np.array([kelvin])
    if material.resistivity is None:
        return math.inf
    mu = float(material.magnetic.relative_permeability(at)[0])
    return skin_depth(float(material.resistivity(at)[0]), mu, frequency)


def _thin_findings(body: BodyCheck) -> list[Finding]:
    if body.skin_hot is None or body.thickness >= _THIN_PART * body.skin_hot:
        return []
    text = (
        f"its section is about {body.thickness * 1e3:.2g} mm thick, {body.thickness / body.skin_hot:.2g} skin depths hot; "
        "the field shines through it."
    )
    advice = "That is right for a thin ring carrying current round its whole section; for surface heating raise the frequency."
    return [Finding("thin-against-skin", "note", f'body "{body.name}"', text, advice)]


def _conductor_findings(drawn: Scene, frequency: float) -> list[Finding]:
    coil, material = drawn.job.coil, drawn.conductor
    if coil is None or material is None:
        return []
    wall = getattr(coil.conductor, "wall", None)
    if coil.conductor.section == "round tube":
        wall = 0.5 * (coil.conductor.outside - coil.conductor.bore)
    depth = _skin(material, drawn.coil_temperature, frequency)
    if wall is None or wall >= _WALL_IN_SKINS * depth:
        return []
    text = f"the tube wall of {wall * 1e3:.2g} mm is only {wall / depth:.2g} skin depths at {frequency / 1e3:.4g} kHz."
    advice = "Take a wall of at least 1.5 skin depths, or the coil loses more than it must."
    return [Finding("tube-wall-thin", "warning", "coil.conductor", text, advice)]
