"""Meshes of bodies with sloped or curved sides: graded layers along the surface, a core of split triangles inside.

Every side is mapped onto its mitred inward offset, so that layers follow the surface and meet cleanly at corners; no
layers are made where the skin is thicker than the wall. The axis is no surface: it gets nodes but no layers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.section.core import core_quads
from coilwright.section.grading import breaks, even_breaks, wanted
from coilwright.section.mesh import Mesh, merged
from coilwright.section.outline import Outline
from coilwright.section.quad9 import Array, IntArray
from coilwright.section.sizes import BodySize, MeshRule, Surroundings, along

_DEPTH_IN_SKINS = 4.0  # layers reach this deep where the body is thick enough
_DEPTH_IN_WALL = 0.3  # and never deeper than this share of the wall
_KEPT = 0.5  # of a side's length must be left on its offset
_TRIES = 4
_MOST_EDGES = 160
_FLATNESS = 1e-5  # of the body's extent: how far chords may leave an arc when ways through the body are looked for


@dataclass(frozen=True, eq=False)
class _Side:
    """One side of a loop, area on its left. `places` and `inner` (2m+1, 2): nodes on it and on its offset, mid-side nodes
    included; `surface` False on the axis."""

    places: Array
    inner: Array
    surface: bool


def mesh_layered(region: str, loops: Sequence[Outline], size: BodySize, rule: MeshRule, around: Surroundings) -> Mesh:
    """One body; `loops[0]` is its outside, further ones are hollows. Raises BadInput when no valid mesh is found."""
    oriented = [loops[0], *(_reversed(loop) for loop in loops[1:])]
    wall = _wall(oriented)
    finer = 1.0
    for _ in range(_TRIES):
        mesh = _attempt(region, oriented, size, rule, around, wall, finer)
        if mesh is not None:
            return mesh
        finer *= 0.6
    what = "could not be divided into elements; simplify its outline (very sharp corners or tiny steps)"
    raise BadInput(Fault(f'body "{region}"', what))


def _attempt(
    region: str,
    loops: Sequence[Outline],
    size: BodySize,
    rule: MeshRule,
    around: Surroundings,
    wall: float,
    finer: float,
) -> Mesh | None:
    depth = _depth(loops, size, rule, wall)
    steps = _layers(depth, size, rule)
    sides = [_sides(loop, depth, size, rule, around, wall, finer) for loop in loops]
    points: list[Array] = []
    quads: list[IntArray] = []
    for loop in sides:
        for side in loop:
            if side.surface and depth > 0.0:
                _add_layers(side, steps, points, quads)
    inner = [np.concatenate([side.inner[:-1] for side in loop]) for loop in sides]
    core = core_quads(inner, _core_size(size, rule, wall) * finer)
    if core is None:
        return None
    start = sum(len(p) for p in points)
    points.append(core[0])
    quads.append(core[1] + start)
    every = np.concatenate(quads)
    mesh = merged(np.concatenate(points), every, np.zeros(len(every), dtype=np.int64), (region,))
    return mesh if _sound(mesh) else None


def _sound(mesh: Mesh) -> bool:
    """Every element keeps its sense at all its Gauss points."""
    from coilwright.section.quad9 import quad_table

    t = quad_table()
    at = mesh.points[mesh.quads]
    r_xi, z_xi, r_eta, z_eta = (at[:, :, k] @ d for d in (t.d_xi, t.d_eta) for k in (0, 1))
    det = r_xi * z_eta - r_eta * z_xi
    size = np.abs(det).max(axis=1, keepdims=True)
    return bool(np.all(np.abs(np.sign(det).sum(axis=1)) == det.shape[1]) and np.all(np.abs(det) > 1e-6 * size))


def _reversed(loop: Outline) -> Outline:
    return Outline(loop.vertices[::-1].copy(), -np.roll(loop.bulges[::-1], -1))


# ---- how thick the body is, how deep the layers go
def _wall(loops: Sequence[Outline]) -> float:
    """Smallest way straight through the body from the middle parts of its sides (m)."""
    edges = np.concatenate([_chords(loop) for loop in loops])
    ways = []
    for loop in loops:
        for i, s in enumerate(loop.segments):
            if _on_axis(s):
                continue
            at = np.array([0.3, 0.5, 0.7])
            for p, n in zip(loop.points_along(i, at), _normals(s, at), strict=True):
                ways.append(_ray(p, n, edges))
    return float(min(ways))


def _chords(loop: Outline) -> Array:
    p = loop.polyline(_FLATNESS * float(np.ptp(loop.vertices)))
    return np.column_stack([p, np.roll(p, -1, axis=0)])


def _ray(start: Array, direction: Array, edges: Array) -> float:
    """Way from `start` along `direction` to the first of `edges` (k, 4) behind it."""
    a, e = edges[:, :2] - start, edges[:, 2:] - edges[:, :2]
    cross = direction[0] * e[:, 1] - direction[1] * e[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        way = (a[:, 0] * e[:, 1] - a[:, 1] * e[:, 0]) / cross
        share = (a[:, 0] * direction[1] - a[:, 1] * direction[0]) / cross
    extent = float(np.ptp(edges[:, [0, 2]]) + np.ptp(edges[:, [1, 3]]))
    hit = (
        (np.abs(cross) > 1e-14 * extent) & (share > -1e-9) & (share < 1.0 + 1e-9) & (way > 10.0 * _FLATNESS * extent)
    )  # not the chord it stands on
    return float(way[hit].min()) if hit.any() else extent


def _on_axis(s: Array) -> bool:
    return bool(s[6] == 0.0 and s[0] == 0.0 and s[2] == 0.0)


def _normals(s: Array, fractions: Array) -> Array:
    """(k, 2) unit normals into the body along one segment."""
    if s[6] == 0.0:
        t = (s[2:4] - s[:2]) / np.hypot(*(s[2:4] - s[:2]))
        return np.tile(np.array([-t[1], t[0]]), (len(fractions), 1))
    angle = s[7] + s[8] * np.asarray(fractions)
    return -math.copysign(1.0, s[8]) * np.column_stack([np.cos(angle), np.sin(angle)])


def _depth(loops: Sequence[Outline], size: BodySize, rule: MeshRule, wall: float) -> float:
    """Depth of the layers (m); 0 when one element's depth is enough through the wall."""
    if not size.conducting or size.first(rule) > 0.3 * _DEPTH_IN_WALL * wall:
        return 0.0
    depth = min(_DEPTH_IN_SKINS * size.skin_depth_smallest, _DEPTH_IN_WALL * wall)
    for loop in loops:
        segments = loop.segments
        for s, before, after in zip(segments, np.roll(segments, 1, axis=0), np.roll(segments, -1, axis=0), strict=True):
            if _on_axis(s):
                continue
            length = s[6] * abs(s[8]) if s[6] > 0.0 else float(np.hypot(s[2] - s[0], s[3] - s[1]))
            eaten = sum(_eaten(a, b) for a, b in ((before, s), (s, after)))
            if s[6] > 0.0 and s[8] > 0.0:
                eaten += abs(s[8])  # the offset of an outward arc is shorter
            if eaten > 0.0:
                depth = min(depth, (1.0 - _KEPT) * length / eaten)
    return depth


def _eaten(first: Array, second: Array) -> float:
    """Length a side loses at the corner of two segments per depth: tangent of half the turn; negative turns give."""
    a, b = _normals(first, np.array([1.0]))[0], _normals(second, np.array([0.0]))[0]
    turn = math.atan2(a[0] * b[1] - a[1] * b[0], float(a @ b))
    if _on_axis(first) or _on_axis(second):
        return max(math.tan(turn - 0.5 * math.pi), 0.0) if turn < math.pi - 1e-6 else 0.0
    return max(math.tan(0.5 * min(turn, 3.0)), 0.0)


def _layers(depth: float, size: BodySize, rule: MeshRule) -> Array:
    """Shares 0..1 of the depth at which layers end."""
    if depth == 0.0:
        return np.array([0.0, 1.0])
    ask = wanted([0.0], [min(size.first(rule), depth)], depth)
    return breaks(0.0, depth, ask, rule.growth, rule.scale, 2) / depth


def _core_size(size: BodySize, rule: MeshRule, wall: float) -> float:
    """Longest side of a triangle of the core; each is split once more."""
    longest = min(2.0 * size.longest_under(rule), (1.0 if size.conducting else 2.0) * wall)
    if size.conducting:
        longest = min(longest, 2.5 * size.skin_depth_smallest + 0.7 * wall)
    if size.front_depth is not None:
        longest = min(longest, max(0.8 * size.front_depth, wall / 30.0))
    return longest * rule.scale


# ---- nodes along the sides
def _sides(
    loop: Outline,
    depth: float,
    size: BodySize,
    rule: MeshRule,
    around: Surroundings,
    wall: float,
    finer: float,
) -> list[_Side]:
    segments = loop.segments
    depths = np.array([0.0 if _on_axis(s) else depth for s in segments])
    corners = _inner_corners(segments, depths)
    total = float(loop.lengths.sum())
    out = []
    for i, s in enumerate(segments):
        t = _fractions(loop, i, size, rule, around, wall, finer, total)
        nodes = np.empty(2 * len(t) - 1)
        nodes[::2], nodes[1::2] = t, 0.5 * (t[1:] + t[:-1])
        places = loop.points_along(i, nodes)
        offset = places + depths[i] * _normals(s, nodes)
        shift = [corners[j] - offset[k] for j, k in ((i, 0), ((i + 1) % len(segments), -1))]
        inner = offset + (1.0 - nodes)[:, None] * shift[0] + nodes[:, None] * shift[1]
        if _on_axis(s):
            inner[:, 0] = 0.0
        out.append(_Side(places, inner, not _on_axis(s)))
    return out


def _inner_corners(segments: Array, depths: Array) -> Array:
    """(n, 2): where the offsets of the segments before and after each vertex meet."""
    out = np.empty((len(segments), 2))
    for i, s in enumerate(segments):
        before = segments[i - 1]
        a, b = _normals(before, np.array([1.0]))[0], _normals(s, np.array([0.0]))[0]
        det = a[0] * b[1] - a[1] * b[0]
        da, db = depths[i - 1], depths[i]
        if abs(det) < 1e-3 and float(a @ b) > 0.0:  # one side runs on into the next
            mean = a + b
            out[i] = s[:2] + 0.5 * (da + db) * mean / np.hypot(*mean)
        else:
            out[i] = s[:2] + np.array([da * b[1] - db * a[1], db * a[0] - da * b[0]]) / det
        if s[0] == 0.0 and (_on_axis(before) or _on_axis(s)):
            out[i, 0] = 0.0
    return out


def _fractions(
    loop: Outline,
    segment: int,
    size: BodySize,
    rule: MeshRule,
    around: Surroundings,
    wall: float,
    finer: float,
    total: float,
) -> Array:
    """Fractions of the segment at which element edges end; an even number of edges, because the core pairs them."""
    s = loop.segments[segment]
    length = float(loop.lengths[segment])
    longest = 0.5 * _core_size(size, rule, wall) / rule.scale
    if s[6] > 0.0:
        longest = min(longest, 0.4 * s[6])  # 23 degrees of arc
    if _on_axis(s):
        ask = wanted([], [], finer * longest)
        return even_breaks(0.0, length, ask, rule.growth, rule.scale) / length
    smallest = total / _MOST_EDGES
    places, gap = along(loop, segment, around, smallest, size.first(rule) if size.conducting else smallest)
    at = list(np.hypot(*(places - places[0]).T)) if s[6] == 0.0 else list(np.linspace(0.0, length, len(places)))
    sizes = [min(g, 1e3) for g in gap]
    if size.conducting:  # corner elements where the body ends in an edge
        n = len(loop.segments)
        pairs = ((0.0, loop.segments[segment - 1], s), (length, s, loop.segments[(segment + 1) % n]))
        for place, first, second in pairs:
            if not (_on_axis(first) or _on_axis(second)) and _eaten(first, second) > 0.2:
                at.append(place)
                sizes.append(max(size.corner(rule), smallest))
    ask = wanted(at, [finer * x for x in sizes], finer * longest)
    return even_breaks(0.0, length, ask, rule.growth, rule.scale) / length


def _add_layers(side: _Side, steps: Array, points: list[Array], quads: list[IntArray]) -> None:
    """Quadrilaterals between a side and its offset."""
    share = np.empty(2 * len(steps) - 1)
    share[::2], share[1::2] = steps, 0.5 * (steps[1:] + steps[:-1])
    lattice = side.places[:, None] + share[None, :, None] * (side.inner - side.places)[:, None]
    start = sum(len(p) for p in points)
    number = start + np.arange(lattice.shape[0] * lattice.shape[1]).reshape(lattice.shape[:2])
    i, j = np.meshgrid(np.arange(0, len(side.places) - 1, 2), np.arange(0, len(share) - 1, 2), indexing="ij")
    quads.append(np.stack([number[i.ravel() + a, j.ravel() + b] for b in range(3) for a in range(3)], axis=1))
    points.append(lattice.reshape(-1, 2))
