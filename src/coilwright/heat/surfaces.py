"""The faces of the bodies: joints split for a contact resistance, boundary edges, and patches that radiate as one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.heat.inputs import InterfaceContact
from coilwright.section.mesh import Mesh
from coilwright.section.quad9 import Array, IntArray, gauss, line_shape, line_slope

_CORNER = np.cos(np.radians(30.0))  # a patch ends where the outline turns by more
_SIDES = np.array([[0, 1, 2], [2, 5, 8], [8, 7, 6], [6, 3, 0]])


@dataclass(frozen=True, eq=False)
class Joint:
    """Edges across which a contact conductance acts: `one` and `other` (j, 3) are facing nodes in the same order,
    `conductance` (j,) W/m^2/K."""

    one: IntArray
    other: IntArray
    conductance: Array


@dataclass(frozen=True, eq=False)
class Edges:
    """Three-node edges with their Gauss points: `nodes` (b, 3), `region` (b,), `line` (q, 3) shape functions,
    `weight` (b, q) = 2 pi r ds (m^2), `points` (b, 3, 2)."""

    nodes: IntArray
    region: IntArray
    line: Array
    weight: Array
    points: Array

    def some(self, rows: IntArray, share: Array) -> Edges:
        """Those in `rows`, their weights by `share` (b', 1)."""
        return Edges(self.nodes[rows], self.region[rows], self.line, self.weight[rows] * share, self.points[rows])


@dataclass(frozen=True, eq=False)
class Patches:
    """Groups of neighbouring edges: `of_edge` (b,), `region` (p,), `area` (p,) m^2.

    `chords` (c, 4) are the straight pieces r0, z0, r1, z1 of their outline, body on the left, `chord_patch` (c,).
    """

    of_edge: IntArray
    region: IntArray
    area: Array
    chords: Array
    chord_patch: IntArray

    @property
    def count(self) -> int:
        return len(self.area)


def split(mesh: Mesh, interfaces: Sequence[InterfaceContact]) -> tuple[Array, IntArray, Joint]:
    """Points and quads with own nodes on either side of every interface, and the joints between them.

    Element numbers stay. Raises BadInput when two regions share no edge.
    """
    none = Joint(np.empty((0, 3), dtype=np.int64), np.empty((0, 3), dtype=np.int64), np.empty(0))
    if not interfaces:
        return mesh.points, mesh.quads, none
    names = mesh.regions
    apart = {frozenset((names.index(c.one), names.index(c.other))): c.conductance for c in interfaces}
    sides, elements = _inner_sides(mesh)
    pairs = [frozenset((int(a), int(b))) for a, b in mesh.region[elements]]
    keep = np.array([pair in apart for pair in pairs], dtype=bool)
    for pair in set(apart) - set(pairs):
        a, b = sorted(names[k] for k in pair)
        raise BadInput(Fault(f"interface {a!r} - {b!r}", "must join regions that share an edge of the mesh"))
    points, quads = _with_copies(mesh, np.unique(sides[keep]), set(apart))
    one, other = (_renamed(mesh.quads, quads, sides[keep], elements[keep][:, k]) for k in (0, 1))
    conductance = np.array([apart[p] for p, k in zip(pairs, keep, strict=True) if k])
    return points, quads, Joint(one, other, conductance)


def _inner_sides(mesh: Mesh) -> tuple[IntArray, IntArray]:
    """Sides shared by two elements: nodes (s, 3) and elements (s, 2)."""
    sides = mesh.quads[:, _SIDES].transpose(1, 0, 2).reshape(-1, 3)
    element = np.tile(np.arange(len(mesh.quads)), 4)
    key = np.sort(sides[:, [0, 2]], axis=1)
    order = np.lexsort(key.T)
    same = np.all(key[order[1:]] == key[order[:-1]], axis=1) & (key[order[1:], 0] != key[order[1:], 1])
    first, second = order[:-1][same], order[1:][same]
    return sides[first], np.stack([element[first], element[second]], axis=1)


def _with_copies(mesh: Mesh, nodes: IntArray, apart: set[frozenset[int]]) -> tuple[Array, IntArray]:
    quads, extra, total = mesh.quads.copy(), [], len(mesh.points)
    for node in nodes:
        touching = np.unique(mesh.region[np.any(mesh.quads == node, axis=1)])
        groups: list[set[int]] = []
        for region in (int(r) for r in touching):
            joined = [g for g in groups if any(frozenset((region, other)) not in apart for other in g)]
            merged = {region}.union(*joined)
            groups = [*(g for g in groups if g not in joined), merged]
        for group in groups[1:]:
            rows = np.isin(mesh.region, list(group))
            quads[rows] = np.where(quads[rows] == node, total, quads[rows])
            extra.append(mesh.points[node])
            total += 1
    return (np.concatenate([mesh.points, np.array(extra)]) if extra else mesh.points), quads


def _renamed(old: IntArray, new: IntArray, sides: IntArray, element: IntArray) -> IntArray:
    """The nodes of `sides` as their `element` now numbers them."""
    place = np.argmax(old[element][:, None, :] == sides[:, :, None], axis=2)
    return np.take_along_axis(new[element], place, axis=1)


def outer_edges(mesh: Mesh, points: Array, quads: IntArray) -> Edges:
    """Outer boundary of the mesh with the nodes of the split mesh, in the order of `mesh.boundary`."""
    boundary = mesh.boundary
    nodes = _renamed(mesh.quads, quads, boundary.edges, boundary.element)
    return edges_of(points, nodes, mesh.region[boundary.element])


def edges_of(points: Array, nodes: IntArray, region: IntArray) -> Edges:
    """Edges with their integration weights."""
    x, w = gauss(4)
    shape, slope = line_shape(x), line_slope(x)
    at = points[nodes]
    r = at[:, :, 0] @ shape
    length = np.hypot(at[:, :, 0] @ slope, at[:, :, 1] @ slope)
    return Edges(nodes, region, np.ascontiguousarray(shape.T), 2.0 * np.pi * r * length * w, at)


def patches(edges: Edges, wanted: int) -> Patches:
    """About `wanted` patches: runs of edges of one region, without a corner, of similar length."""
    chord = np.hypot(*(edges.points[:, 2] - edges.points[:, 0]).T)
    longest = max(chord.sum() / max(wanted, 1), 1e-12)
    of_edge = np.full(len(edges.nodes), -1)
    region: list[int] = []
    for run in _runs(edges):
        pieces = max(1, round(chord[run].sum() / longest))
        middle = np.cumsum(chord[run]) - 0.5 * chord[run]
        number = np.minimum((middle / chord[run].sum() * pieces).astype(int), pieces - 1)
        _, number = np.unique(number, return_inverse=True)
        of_edge[run] = len(region) + number
        region += [int(edges.region[run[0]])] * (int(number.max()) + 1)
    area = np.bincount(of_edge, edges.weight.sum(1), len(region)).astype(float)
    chords, owner = _chords(edges, of_edge)
    return Patches(of_edge, np.array(region), area, chords, owner)


def _runs(edges: Edges) -> list[IntArray]:
    """Edges in walking order, cut at corners."""
    following = {int(a): k for k, a in enumerate(edges.nodes[:, 0])}
    preceded = {int(a) for a in edges.nodes[:, 2]}
    left = set(range(len(edges.nodes)))
    starts = [k for k in range(len(edges.nodes)) if int(edges.nodes[k, 0]) not in preceded]
    out: list[IntArray] = []
    for start in [*starts, *range(len(edges.nodes))]:
        if start not in left:
            continue
        walk, k = [], start
        while k in left:
            left.discard(k)
            walk.append(k)
            k = following.get(int(edges.nodes[k, 2]), -1)
        out += _cut(edges, np.array(walk))
    return out


def _cut(edges: Edges, walk: IntArray) -> list[IntArray]:
    at = edges.points[walk]
    leaving, entering = _unit(-3 * at[:, 0] + 4 * at[:, 1] - at[:, 2]), _unit(at[:, 0] - 4 * at[:, 1] + 3 * at[:, 2])
    corner = np.sum(entering * np.roll(leaving, -1, axis=0), axis=1) < _CORNER
    corner |= edges.region[walk] != np.roll(edges.region[walk], -1)
    closed = edges.nodes[walk[-1], 2] == edges.nodes[walk[0], 0]
    if closed and corner.any():  # begin right after a corner, so that no run is cut in two
        shift = int(np.flatnonzero(corner)[-1]) + 1
        walk, corner = np.roll(walk, -shift), np.roll(corner, -shift)
    return np.split(walk, np.flatnonzero(corner[:-1]) + 1)


def _unit(v: Array) -> Array:
    return np.asarray(v / np.linalg.norm(v, axis=-1, keepdims=True))


def _chords(edges: Edges, of_edge: IntArray) -> tuple[Array, IntArray]:
    """Two straight pieces per edge, merged where a patch runs straight on."""
    order = np.concatenate(_runs(edges))
    pieces: list[list[float]] = []
    owner: list[int] = []
    for k in order:
        a, m, b = edges.points[k]
        for p, q in ((a, m), (m, b)):
            if pieces and owner[-1] == of_edge[k] and _straight_on(pieces[-1], p, q):
                pieces[-1][2:] = [float(q[0]), float(q[1])]
            else:
                pieces.append([float(p[0]), float(p[1]), float(q[0]), float(q[1])])
                owner.append(int(of_edge[k]))
    return np.array(pieces), np.array(owner)


def _straight_on(piece: list[float], p: Array, q: Array) -> bool:
    if abs(piece[2] - p[0]) + abs(piece[3] - p[1]) > 0.0:
        return False
    ur, uz, vr, vz = piece[2] - piece[0], piece[3] - piece[1], q[0] - p[0], q[1] - p[1]
    return bool(abs(ur * vz - uz * vr) < 1e-9 * np.hypot(ur, uz) * np.hypot(vr, vz) and ur * vr + uz * vz > 0.0)
