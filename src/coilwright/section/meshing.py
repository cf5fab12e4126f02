"""The meshes of a whole section: one per body (or group of joined bodies), one per kind of turn, shared by shifting.

Rules, from own converged runs: layer under a surface 0.45 skin depths (0.6 leaves 5e-4 in the resistance of a
thin-walled tube, 0.45 leaves 1e-4), growth 1.5, corner elements 0.2 skin depths, no surface element longer than the
distance to the nearest other surface or named point.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.section.films import mesh_film
from coilwright.section.geometry import Section, SectionBody, TurnOutline
from coilwright.section.layered import mesh_layered
from coilwright.section.mesh import Mesh
from coilwright.section.outline import Outline
from coilwright.section.quad9 import Array
from coilwright.section.rectilinear import mesh_rectilinear
from coilwright.section.rounded import directions, mesh_ball, mesh_circle
from coilwright.section.sizes import BodySize, MeshRule, Surroundings

COIL = "coil"  # key of the conductor in `sizes`
_TURN_CORNER = 0.6  # skin depths: tensor corners of a rectangular conductor need no more for R and L


@dataclass(frozen=True, eq=False)
class GroupMesh:
    """One mesh for the bodies `names`, which are its regions in that order."""

    names: tuple[str, ...]
    mesh: Mesh


@dataclass(frozen=True, eq=False)
class TurnMesh:
    """A turn: the shared mesh `base` (regions "turn" and, if hollow, "bore"; centre at z = 0) shifted up by `z` (m).

    Turns of equal radius and section hold the very same `base` object, so one condensation serves them all.
    """

    number: int
    r: float
    z: float
    weight: float
    base: Mesh

    @cached_property
    def mesh(self) -> Mesh:
        return self.base.moved(self.z)


@dataclass(frozen=True, eq=False)
class SectionMesh:
    """`groups` in the order of the section's bodies, `turns` in the order of its turns, `films` apart from both."""

    groups: tuple[GroupMesh, ...]
    turns: tuple[TurnMesh, ...]
    rule: MeshRule
    films: tuple[GroupMesh, ...] = ()

    @property
    def boundary_unknowns(self) -> int:
        """Unknowns of the exterior problem: two per surface edge."""
        meshes = [g.mesh for g in (*self.groups, *self.films)] + [t.base for t in self.turns]
        return 2 * sum(len(m.boundary.edges) for m in meshes)

    def group_of(self, name: str) -> GroupMesh:
        for group in self.groups:
            if name in group.names:
                return group
        raise KeyError(f'no body "{name}" in the mesh; there are {[n for g in self.groups for n in g.names]}')


def mesh_section(
    section: Section,
    sizes: Mapping[str, BodySize],
    rule: MeshRule | None = None,
    *,
    coil_shifts: Sequence[float] = (0.0,),
) -> SectionMesh:
    """Mesh every body and turn of the section.

    `sizes` gives what each body needs by name and the conductor under the key "coil"; a body without an entry is
    taken as not conducting. `coil_shifts` (m along z): the same meshes will serve the coil at all these shifts, so
    surfaces are as fine as the nearest of them asks for. Raises BadInput for a joined group that cannot be meshed.
    """
    rule = rule or MeshRule()
    names: dict[str, list[SectionBody]] = {}
    for body in section.bodies:
        names.setdefault(body.group, []).append(body)
    groups = tuple(_group(section, bodies, sizes, rule, coil_shifts) for bodies in names.values())
    turns = _turns(section, sizes.get(COIL, BodySize()), rule, coil_shifts)
    films = tuple(
        GroupMesh((f.name,), mesh_film(f, section, sizes, sizes.get(f.name, BodySize()), rule, coil_shifts))
        for f in section.films
    )
    return SectionMesh(groups, turns, rule, films)


def _group(
    section: Section,
    bodies: Sequence[SectionBody],
    sizes: Mapping[str, BodySize],
    rule: MeshRule,
    shifts: Sequence[float],
) -> GroupMesh:
    names = tuple(b.name for b in bodies)
    size = [sizes.get(name, BodySize(conducting=False)) for name in names]
    others = [o for b in section.bodies if b.name not in names for o in b.outlines]
    coil = [turn.outer.moved(up=up) for turn in section.turns for up in shifts]
    films = _films(section) if any(s.conducting for s in size) else np.zeros((0, 9))  # glass need not resolve its film
    turns = np.concatenate([np.zeros((0, 9)), *(_surface(o) for o in coil)])
    near = np.concatenate([films, *(_surface(o) for o in others), turns])
    reach = float(np.mean([turn.r for turn in section.turns])) if section.turns else math.inf
    around = Surroundings(near, _points(section), turns, reach)
    if all(o.is_rectilinear for b in bodies for o in b.outlines):
        return GroupMesh(names, mesh_rectilinear(names, [b.outlines for b in bodies], size, rule, around))
    if len(bodies) > 1:
        odd = next(b.name for b in bodies if not all(o.is_rectilinear for o in b.outlines))
        raise BadInput(
            Fault(
                f'body "{odd}"',
                f"joined bodies ({', '.join(names)}) must have only sides parallel or square to the axis; "
                f'"{odd}" has sloped or curved ones: simplify its outline or leave a small gap instead',
            )
        )
    return GroupMesh(names, _single(bodies[0], size[0], rule, around))


def _single(body: SectionBody, size: BodySize, rule: MeshRule, around: Surroundings) -> Mesh:
    floor = 0.1 * float(np.sqrt(body.outer.area))
    if len(body.outlines) == 1:
        circle, half = body.outer.as_circle, body.outer.as_half_circle
        if circle is not None:
            (r, z), radius = circle
            gap = around.distance(_places(r, z, radius, directions(0.0, 2.0 * np.pi)), floor)
            return mesh_circle((r, z), radius, body.name, size, rule, gap)
        if half is not None:
            z, radius = half
            gap = around.distance(_places(0.0, z, radius, directions(-0.5 * np.pi, 0.5 * np.pi)), floor)
            return mesh_ball(z, radius, body.name, size, rule, gap)
    return mesh_layered(body.name, body.outlines, size, rule, around)


def _turns(section: Section, size: BodySize, rule: MeshRule, shifts: Sequence[float]) -> tuple[TurnMesh, ...]:
    """Turns of equal outline share one mesh, fine enough for the surroundings of each of them."""
    alike: dict[tuple[float, ...], list[TurnOutline]] = {}
    for turn in section.turns:
        alike.setdefault(_key(turn), []).append(turn)
    base = {key: _base(section, turns, size, rule, shifts) for key, turns in alike.items()}
    return tuple(TurnMesh(t.number, t.r, t.z, t.weight, base[_key(t)]) for t in section.turns)


def _key(turn: TurnOutline) -> tuple[float, ...]:
    at_zero = [turn.outer.moved(up=-turn.z)] + ([turn.bore.moved(up=-turn.z)] if turn.bore else [])
    return tuple(float(x) for o in at_zero for x in np.round(o.vertices / 1e-10).ravel())


def _base(
    section: Section, turns: Sequence[TurnOutline], size: BodySize, rule: MeshRule, shifts: Sequence[float]
) -> Mesh:
    bodies = [o for b in section.bodies for o in b.outlines]
    segments = [np.empty((0, 9))]
    points = [np.empty((0, 2))]
    for turn in turns:  # everything else as this turn sees it, itself at z = 0
        segments += [_surface(t.outer.moved(up=-turn.z)) for t in section.turns if t is not turn]
        for up in shifts:
            down = -turn.z - up
            segments += [_surface(o.moved(up=down)) for o in bodies]
            segments.append(_films(section, down))
            points.append(_points(section) + np.array([0.0, down]))
    around = Surroundings(np.concatenate(segments), np.concatenate(points))
    first = turns[0]
    outer = first.outer.moved(up=-first.z)
    bore = first.bore.moved(up=-first.z) if first.bore is not None else None
    circle = outer.as_circle
    if circle is None:
        loops = [[outer, bore], [bore]] if bore is not None else [[outer]]
        names = ("turn", "bore")[: len(loops)]
        hollow = BodySize(conducting=False)
        square = replace(rule, corner=max(rule.corner, _TURN_CORNER))
        return mesh_rectilinear(names, loops, (size, hollow)[: len(loops)], square, around)
    (r, z), radius = circle
    hole = bore.as_circle if bore is not None else None
    gap = around.distance(_places(r, z, radius, directions(0.0, 2.0 * np.pi)), 0.1 * radius)
    return mesh_circle((r, z), radius, "turn", size, rule, gap, (hole[1], "bore") if hole is not None else None)


def _places(r: float, z: float, radius: float, angle: Array) -> Array:
    return np.column_stack([r + radius * np.cos(angle), z + radius * np.sin(angle)])


def _surface(outline: Outline) -> Array:
    s = outline.segments
    return np.asarray(s[~((s[:, 6] == 0.0) & (s[:, 0] == 0.0) & (s[:, 2] == 0.0))])


def _films(section: Section, up: float = 0.0) -> Array:
    out = np.zeros((len(section.films), 9))
    for row, film in zip(out, section.films, strict=True):
        row[:4] = film.start[0], film.start[1] + up, film.end[0], film.end[1] + up
    return out


def _points(section: Section) -> Array:
    return np.array([[p.r, p.z] for p in section.points], dtype=float).reshape(-1, 2)
