"""From a job's scene to the field model: skin depths, meshes, laws, turns and leads."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.field.bundle import Bundle
from coilwright.field.exterior import MU0
from coilwright.field.inputs import CoilModel, ConductorTurn, FieldModel, LiveBody, RegionLaw
from coilwright.job.schema_coil import Litz
from coilwright.materials import Material
from coilwright.section.films import gap_to, reach
from coilwright.section.geometry import SectionBody
from coilwright.section.mesh import Mesh
from coilwright.section.meshing import COIL, SectionMesh, mesh_section
from coilwright.section.scene import Scene
from coilwright.section.sizes import BodySize, Level, MeshRule

_SAMPLES = 25  # temperatures at which the skin depth of a body is looked at
# The field falls off along a body: its skin is laid out for this share of the field that the ampere-turns alone would give.
_WEAKER_FIELD = 0.3
# What saturates is the more permeable the less field is left, so that its Curie front is sharper: on a pin (own runs) this leaves
# a third of the error that the usual share leaves.
_SHARP_FRONT = 0.15
_ACROSS = 5.0  # lengths in the thinnest side of a body without skin that stand for its skin depth
_USUAL_FIELD = 2.0e4  # A/m peak, where the job does not tell the current


@dataclass(frozen=True, eq=False)
class MeshedScene:
    """A scene with its meshes; one for every frequency and level."""

    scene: Scene
    mesh: SectionMesh
    frequency: float


def skin_depth(resistivity: float, relative_permeability: float, frequency: float) -> float:
    """sqrt(rho / (pi f mu)), m."""
    return math.sqrt(resistivity / (math.pi * frequency * MU0 * relative_permeability))


def sees_field(material: Material) -> bool:
    """Whether a body of this material changes the field: it conducts or it is magnetic."""
    return material.conducting or not material.magnetic.is_unity


def body_size(material: Material, temperatures: tuple[float, float], frequency: float, field: float) -> BodySize:
    """Mesh sizes for a body between two temperatures (K) at a surface field (A/m peak)."""
    if not sees_field(material):
        return BodySize(conducting=False)
    if material.resistivity is None:
        return BodySize()  # ferrite: no skin, the distance rule alone decides
    kelvin = np.linspace(*temperatures, _SAMPLES)
    mu = _permeability(material, kelvin, field)
    depth = np.sqrt(material.resistivity(kelvin) / (math.pi * frequency * MU0 * mu))
    magnetic = mu.max() > 1.5 * mu.min()  # it loses its magnetism on the way: a front travels inwards
    front = float(depth.max()) if magnetic else None
    share = _SHARP_FRONT if material.magnetic.saturating else BodySize.front_share
    return BodySize(float(depth.min()), float(depth.max()), front, share)


def _without_skin(body: SectionBody) -> BodySize:
    """Mesh sizes of ferrite: no skin, but its field crowds at the edges, and a fifth of the thinnest side resolves that."""
    boxes = [outline.box for outline in body.outlines]
    sides = [side for r0, r1, z0, z1 in boxes for side in (r1 - r0 if r0 > 0.0 else 2.0 * r1, z1 - z0)]
    return BodySize(*2 * (min(sides) / _ACROSS,))


def _permeability(material: Material, kelvin: np.ndarray, field: float) -> np.ndarray:
    if not material.magnetic.saturating:
        return np.asarray(material.magnetic.relative_permeability(kelvin))
    return np.maximum(material.magnetic.static_flux_density(field, kelvin) / (MU0 * field), 1.0)


def surface_field(scene: Scene) -> float:
    """Rough field (A/m peak) the coil's ampere-turns give at a part; only mesh sizes depend on it."""
    job = scene.job
    if job.drive.coil_current is None or not scene.section.turns:
        return _USUAL_FIELD
    turns = scene.section.turns
    z = [t.z for t in turns]
    reach = max(max(z) - min(z), max(2.0 * t.r for t in turns))
    ampere_turns = math.sqrt(2.0) * job.drive.coil_current * sum(t.weight for t in turns)
    return max(_WEAKER_FIELD * ampere_turns / reach, 1.0)


def mesh_scene(
    scene: Scene, frequency: float, level: Level = "normal", coil_shifts: Sequence[float] = (0.0,)
) -> MeshedScene:
    """Meshes for one frequency; `coil_shifts` (m) are the coil positions they must serve."""
    field = surface_field(scene)
    sizes = {
        name: body_size(material, scene.temperature_range(name), frequency, field)
        for name, material in scene.materials.items()
    }
    sizes |= {
        body.name: _without_skin(body)
        for body in scene.section.bodies
        if sees_field(scene.materials[body.name]) and scene.materials[body.name].resistivity is None
    }
    if scene.conductor is not None:
        cold = (scene.coil_temperature, scene.coil_temperature)
        litz = scene.job.coil is not None and isinstance(scene.job.coil.conductor, Litz)
        sizes[COIL] = BodySize() if litz else body_size(scene.conductor, cold, frequency, field)
    return MeshedScene(
        scene, mesh_section(scene.section, sizes, MeshRule(level=level), coil_shifts=coil_shifts), frequency
    )


def field_model(meshed: MeshedScene) -> FieldModel:
    """Turns, live bodies and named points of a meshed scene. Raises BadInput when nothing carries or sees a field."""
    scene = meshed.scene
    points = {p.name: (p.r, p.z) for p in scene.section.points}
    return FieldModel(_coil(meshed), tuple(_bodies(meshed)), meshed.frequency, points)


def _coil(meshed: MeshedScene) -> CoilModel | None:
    scene = meshed.scene
    if scene.conductor is None:
        return None
    if scene.conductor.resistivity is None:
        where = f"{scene.job.name}: coil.conductor.material"
        raise BadInput(Fault(where, f'must conduct; received "{scene.conductor.name}"; write e.g. "copper"'))
    rho = float(scene.conductor.resistivity(np.array([scene.coil_temperature]))[0])
    mu = float(scene.conductor.magnetic.relative_permeability(np.array([scene.coil_temperature]))[0])
    bundle = _bundle(scene, rho)
    turns = [
        ConductorTurn(t.base, rho, t.z, t.weight, mu, "turn", f"turn {t.number}", bundle) for t in meshed.mesh.turns
    ]
    return CoilModel(tuple(turns))


def _bundle(scene: Scene, resistivity: float) -> Bundle | None:
    coil = scene.job.coil
    if coil is None or not isinstance(coil.conductor, Litz):
        return None
    return Bundle(coil.conductor.strands, coil.conductor.strand_diameter, resistivity)


def _bodies(meshed: MeshedScene) -> list[LiveBody]:
    scene, job = meshed.scene, meshed.scene.job
    out = []
    for group in meshed.mesh.groups:
        if not any(sees_field(scene.materials[name]) for name in group.names):
            continue
        laws = {name: _law(scene.materials[name]) for name in group.names}
        members = [job.body(name) for name in group.names]
        through = job.drive.through
        net = complex(through.current) if through is not None and through.body in group.names else None
        slit = any(b.slit for b in members) and net is None
        work = any(b.role == "work" for b in members)
        out.append(LiveBody(" + ".join(group.names), group.mesh, laws, slit, net, work))
    return out + [_film(meshed, name, group.mesh) for group in meshed.mesh.films for name in group.names]


def _film(meshed: MeshedScene, name: str, mesh: Mesh) -> LiveBody:
    """A film as a body of its own. Raises BadInput when it touches metal or does not conduct."""
    scene = meshed.scene
    where = f'{scene.job.name}: body "{name}"'
    if not scene.materials[name].conducting:
        received = (
            f'must conduct to be a film; received "{scene.materials[name].name}"; name a metal or remove the film'
        )
        raise BadInput(Fault(where, received))
    film = next(f for f in scene.section.films if f.name == name)
    for other in scene.section.bodies:
        if sees_field(scene.materials[other.name]) and min(gap_to(film, o) for o in other.outlines) <= reach(film):
            touching = (
                f'a film must lie on glass or ceramic; it touches "{other.name}", which carries current itself: '
                "remove the film, or draw both as joined bodies"
            )
            raise BadInput(Fault(where, touching))
    body = scene.job.body(name)
    through = scene.job.drive.through
    net = complex(through.current) if through is not None and through.body == name else None
    slit = body.slit and net is None
    return LiveBody(name, mesh, {name: _law(scene.materials[name])}, slit, net, body.role == "work")


def _law(material: Material) -> RegionLaw:
    magnetic = None if material.magnetic.is_unity else material.magnetic
    return RegionLaw(material.resistivity if material.conducting else None, magnetic)
