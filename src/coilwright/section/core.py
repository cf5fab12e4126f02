"""The inside of a layered mesh: triangles between the loops of its inner boundary, each split into three quadrilaterals.

Delaunay triangles of the loops and of points spread inside by a growing size; the loops' own edges must come out as
edges of triangles, else there is no mesh (the caller divides the loops more finely).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import chain, pairwise

import numpy as np
from scipy.spatial import Delaunay, cKDTree

from coilwright.section.quad9 import Array, BoolArray, IntArray

_GROWTH = 0.45  # of the element size per distance from the boundary
_APART = 0.75  # least distance of two points in their size
_SMOOTHINGS = 4
# local node 3*j + i of the quadrilateral at corner a of a triangle (a, b, c): a, side ab, middle, side ca
_LOOP_OF_NODES = (0, 1, 2, 5, 8, 7, 6, 3)


def core_quads(loops: Sequence[Array], longest: float) -> tuple[Array, IntArray] | None:
    """(points (n, 2), quads (e, 9)) filling the loops; None when a loop's edge is lost.

    Each loop (4m, 2) lists nodes with the area on the left: every fourth is a corner of a triangle, the second between two
    corners its mid-side, the others belong to the quadrilaterals. `longest` (m) bounds the triangles' sides.
    """
    corners = np.concatenate([loop[::4] for loop in loops])
    starts = np.cumsum([0, *(len(loop) // 4 for loop in loops)])
    edges = np.concatenate(
        [a + np.column_stack([np.arange(b - a), np.roll(np.arange(b - a), -1)]) for a, b in pairwise(starts)]
    )
    inside = _spread(corners, edges, longest)
    triangles = None
    for _ in range(_SMOOTHINGS):
        points = np.concatenate([corners, inside])
        triangles = _triangles(points, corners, edges)
        if triangles is None:
            return None
        inside = _smoothed(points, triangles, len(corners))
    points = np.concatenate([corners, inside])
    triangles = _triangles(points, corners, edges)
    return None if triangles is None else _split(points, triangles, edges, loops)


def _spread(corners: Array, edges: Array, longest: float) -> Array:
    """Points inside, apart by a size that grows from the edges."""
    length = np.hypot(*(corners[edges[:, 1]] - corners[edges[:, 0]]).T)
    middles = 0.5 * (corners[edges[:, 0]] + corners[edges[:, 1]])
    tree = cKDTree(middles)
    low, high = corners.min(axis=0), corners.max(axis=0)
    kept = np.empty((0, 2))
    step = float(length.min())
    top = max(longest, step)
    while step <= 1.5 * top:
        grid = _hexagons(low, high, step)
        if not len(grid):
            step *= 1.5
            continue
        found = tree.query(grid, k=min(6, len(middles)))
        near, which = (np.asarray(a).reshape(len(grid), -1) for a in found)
        size = np.minimum((length[which] + _GROWTH * near).min(axis=1), longest)
        fit = (size >= step) & (size < 1.5 * step) & (near[:, 0] > 0.7 * size)
        grid, size = grid[fit], size[fit]
        grid, size = (a[contains(corners, edges, grid)] for a in (grid, size)) if len(grid) else (grid, size)
        kept = _thinned(kept, grid, size)
        step *= 1.5
    return kept


def _hexagons(low: Array, high: Array, step: float) -> Array:
    count = ((high - low) / step).astype(int) + 2
    if count.prod() > 200_000:
        return np.empty((0, 2))
    i, j = np.meshgrid(np.arange(count[0]), np.arange(int(count[1] * 1.16) + 1), indexing="ij")
    return np.column_stack([(low[0] + step * (i + 0.5 * (j % 2))).ravel(), (low[1] + 0.866 * step * j).ravel()])


def _thinned(kept: Array, new: Array, size: Array) -> Array:
    """`kept` and those of `new` that stay apart from it by their size."""
    if len(kept) and len(new):
        gap, _ = cKDTree(kept).query(new)
        new = new[gap > _APART * size]
    return np.concatenate([kept, new])


def contains(corners: Array, edges: Array, points: Array) -> BoolArray:
    """(n,): which points lie inside the polygon of the edges (even-odd rule)."""
    a, b = corners[edges[:, 0]], corners[edges[:, 1]]
    z = points[:, 1:]
    spans = (a[:, 1] > z) != (b[:, 1] > z)
    with np.errstate(divide="ignore", invalid="ignore"):
        cross = a[:, 0] + (z - a[:, 1]) * (b[:, 0] - a[:, 0]) / (b[:, 1] - a[:, 1])
    return np.asarray(np.count_nonzero(spans & (points[:, :1] < cross), axis=1) % 2 == 1)


def _triangles(points: Array, corners: Array, edges: Array) -> IntArray | None:
    """Delaunay triangles inside, counter-clockwise; None unless each edge of the loops bounds just one of them."""
    scale = np.ptp(points, axis=0).max()
    found = Delaunay(points / scale).simplices.astype(np.int64)
    found = found[contains(corners, edges, points[found].mean(axis=1))]
    p = points[found]
    area = (p[:, 1, 0] - p[:, 0, 0]) * (p[:, 2, 1] - p[:, 0, 1]) - (p[:, 2, 0] - p[:, 0, 0]) * (p[:, 1, 1] - p[:, 0, 1])
    found = found[np.abs(area) > 1e-10 * scale**2]
    area = area[np.abs(area) > 1e-10 * scale**2]
    found[area < 0.0] = found[area < 0.0][:, ::-1]
    sides = Counter(tuple(sorted((int(t[k]), int(t[(k + 1) % 3])))) for t in found for k in range(3))
    wanted = {tuple(sorted((int(a), int(b)))) for a, b in edges}
    once = {side for side, count in sides.items() if count == 1}
    return found if once == wanted else None


def _smoothed(points: Array, triangles: IntArray, fixed: int) -> Array:
    """Inner points moved to the mean of their neighbours."""
    total, count = np.zeros_like(points), np.zeros(len(points))
    for k in range(3):
        a, b = triangles[:, k], triangles[:, (k + 1) % 3]
        for here, there in ((a, b), (b, a)):
            np.add.at(total, here, points[there])
            np.add.at(count, here, 1.0)
    return np.asarray(total[fixed:] / np.maximum(count[fixed:], 1.0)[:, None])


def _split(points: Array, triangles: IntArray, edges: Array, loops: Sequence[Array]) -> tuple[Array, IntArray]:
    """Three quadrilaterals per triangle; sides on a loop take its nodes."""
    quarters = list(chain.from_iterable(loop[1::4] for loop in loops))
    halves = list(chain.from_iterable(loop[2::4] for loop in loops))
    rest = list(chain.from_iterable(loop[3::4] for loop in loops))
    curved = {}
    for (a, b), q, h, r in zip(edges.tolist(), quarters, halves, rest, strict=True):
        curved[a, b] = (q, h, r)
        curved[b, a] = (r, h, q)
    out: list[Array] = []
    for t in triangles.tolist():
        centre = points[t].mean(axis=0)
        sides = [_side(points, t[k], t[(k + 1) % 3], curved) for k in range(3)]
        for k in range(3):
            after, before = sides[k], sides[k - 1]
            corner = points[t[k]]
            ring = [
                corner, after[0], after[1], 0.5 * (after[1] + centre), centre,
                0.5 * (centre + before[1]), before[1], before[2],
            ]  # fmt: skip
            out.append(_quad(np.array(ring)))
    return np.concatenate(out), np.arange(9 * len(out)).reshape(-1, 9)


def _side(
    points: Array, a: int, b: int, curved: dict[tuple[int, int], tuple[Array, Array, Array]]
) -> tuple[Array, ...]:
    """Nodes at a quarter, the half and three quarters of a side from corner a to corner b."""
    if (a, b) in curved:
        return curved[a, b]
    p, q = points[a], points[b]
    middle = 0.5 * (p + q)
    return 0.5 * (p + middle), middle, 0.5 * (middle + q)


def _quad(ring: Array) -> Array:
    """(9, 2) nodes of a quadrilateral from its eight boundary nodes in order."""
    nodes = np.empty((9, 2))
    nodes[list(_LOOP_OF_NODES)] = ring
    nodes[4] = 0.5 * ring[1::2].sum(axis=0) - 0.25 * ring[::2].sum(axis=0)
    return nodes
