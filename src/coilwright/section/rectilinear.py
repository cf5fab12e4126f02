"""Meshes of bodies whose sides are all parallel to an axis: one lattice through every corner, empty cells left out.

Joined bodies share the lattice, so their common faces have common nodes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from coilwright.section.blocks import with_midpoints
from coilwright.section.grading import breaks, wanted
from coilwright.section.mesh import Mesh, from_lattice
from coilwright.section.outline import Outline
from coilwright.section.quad9 import Array, IntArray
from coilwright.section.sizes import BodySize, MeshRule, Surroundings, along

_SAME = 1e-7  # corners nearer than this share of the group's extent are on one lattice line
_UNEVEN = 1e-4  # of the extent
_MOST_EDGES = 120  # along one outline, however small a gap is
# Elements where a Curie front passes, in depths the hot skin has: across the thinnest extent as a body asks, down to a reach
# below which too little loss is left for the front to matter; along the body everywhere, but no more than so many elements.
_FRONT_REACH, _ALONG_FRONT, _MOST_ALONG = 1.5, 0.4, 40.0


def mesh_rectilinear(
    names: Sequence[str],
    outlines: Sequence[Sequence[Outline]],
    sizes: Sequence[BodySize],
    rule: MeshRule,
    around: Surroundings,
) -> Mesh:
    """One mesh with a region per name. `outlines[i]` is the outside of body i and its hollows."""
    size_of = []
    for loops, size in zip(outlines, sizes, strict=True):
        far = around.longer(loops[0]) if size.conducting else np.ones((len(loops[0].segments), 1))
        size_of.append((loops, size, far))
    lines = [_lines(outlines, axis) for axis in (0, 1)]
    r, z = (_breaks(axis, lines, size_of, rule, around) for axis in (0, 1))
    return from_lattice(
        *np.meshgrid(with_midpoints(r), with_midpoints(z), indexing="ij"),
        names[0],
        cells=owners(outlines, r, z),
        regions=tuple(names),
    )


def owners(outlines: Sequence[Sequence[Outline]], r: Array, z: Array) -> IntArray:
    """(a, b): which body fills each cell of the lattice, -1 for none."""
    middle = np.stack(np.meshgrid(0.5 * (r[1:] + r[:-1]), 0.5 * (z[1:] + z[:-1]), indexing="ij"), axis=-1)
    flat = middle.reshape(-1, 2)
    owner = np.full(len(flat), -1, dtype=np.int64)
    for i, loops in enumerate(outlines):
        inside = loops[0].contains(flat)
        for hole in loops[1:]:
            inside &= ~hole.contains(flat)
        owner[inside] = i
    return owner.reshape(middle.shape[:2])


def _lines(outlines: Sequence[Sequence[Outline]], axis: int) -> Array:
    """Lattice lines every corner lies on."""
    x = np.sort(np.concatenate([loop.vertices[:, axis] for loops in outlines for loop in loops]))
    apart = np.concatenate([[True], np.diff(x) > _SAME * np.ptp(x)])
    return np.asarray(x[apart])


def _breaks(
    axis: int,
    lines: Sequence[Array],
    bodies: Sequence[tuple[Sequence[Outline], BodySize, Array]],
    rule: MeshRule,
    around: Surroundings,
) -> Array:
    """Break points along one axis. With every body, by how much elements may be longer along the segments of its outside."""
    at: list[float] = []
    size: list[float] = []
    cap = [math.inf] * (len(lines[axis]) - 1)
    fewest = [1] * len(cap)
    for loops, body, far in bodies:
        smallest = sum(float(loop.lengths.sum()) for loop in loops) / _MOST_EDGES
        front = _along_front(axis, loops[0], body)
        for loop in loops:  # no outside field reaches a hollow: its walls need no skin layers
            outside = loop is loops[0]
            corner = body.corner(rule) if outside else 4.0 * body.first(rule)
            for i, s in enumerate(loop.segments):
                if max(s[0], s[2]) == 0.0:
                    continue  # the axis is no surface
                across = abs(s[2 + axis] - s[axis]) <= abs(s[3 - axis] - s[1 - axis])
                if across:  # the side stands on this axis: its corner elements, and those for a front under it
                    at.append(float(s[axis]))
                    size.append(min(corner * float(far[i].min() if outside else 1.0), 1e3))
                    if outside and body.front_depth is not None:
                        under = _under(float(s[axis]), loop, axis, body)
                        at += under
                        size += [body.front_share * body.front_depth] * len(under)
                else:
                    places, length = along(loop, i, around, smallest, body.first(rule))
                    length = np.minimum(length, front * far[i] if outside else front)
                    near = length < 1e3
                    at += places[near, axis].tolist()
                    size += length[near].tolist()
        _fill(axis, lines[axis], loops, body, rule, cap, fewest)
    parts = [
        breaks(a, b, wanted(at, size, longest), rule.growth, rule.scale, max(1, math.ceil(count / rule.scale - 0.2)))
        for a, b, longest, count in zip(lines[axis][:-1], lines[axis][1:], cap, fewest, strict=True)
    ]
    out = np.concatenate([parts[0], *(p[1:] for p in parts[1:])])
    return _evened(out, lines[axis]) if axis == 1 else out


def _evened(x: Array, lines: Array) -> Array:
    """Lengths that differ by little on both sides of the middle made the same where the corners lie evenly: a field may then
    use its mirror."""
    extent = x[-1] - x[0]

    def uneven(at: Array) -> float:
        return float(np.abs(at + at[::-1] - x[0] - x[-1]).max())

    if uneven(lines) > _SAME * extent or uneven(x) > _UNEVEN * extent:
        return x
    return np.asarray(0.5 * (x + x[0] + x[-1] - x[::-1]))


def _along_front(axis: int, outside: Outline, body: BodySize) -> float:
    """Longest element along a body through which a Curie front passes, where the coil is nearest."""
    extents = np.ptp(np.reshape(outside.box, (2, 2)), axis=1)
    if body.front_depth is None or extents[axis] <= extents.min():
        return math.inf
    return max(_ALONG_FRONT * body.front_depth, float(extents[axis]) / _MOST_ALONG)


def _under(side: float, outside: Outline, axis: int, body: BodySize) -> list[float]:
    """Places under a side across the thinnest extent of a body where the Curie front passes while there is loss to lose."""
    extents = np.ptp(np.reshape(outside.box, (2, 2)), axis=1)
    if body.front_depth is None or extents[axis] > extents.min():
        return []
    low, high = outside.box[2 * axis : 2 * axis + 2]
    places = side + body.front_depth * np.arange(-_FRONT_REACH, _FRONT_REACH + 1e-9, 0.5 * body.front_share)
    return [float(x) for x in places if low <= x <= high]


def _fill(
    axis: int,
    lines: Array,
    loops: Sequence[Outline],
    body: BodySize,
    rule: MeshRule,
    cap: list[float],
    fewest: list[int],
) -> None:
    """Longest element and fewest elements of every interval that a body covers."""
    box = loops[0].box
    low, high = box[2 * axis], box[2 * axis + 1]
    extent = high - low
    widths = (box[1] - box[0], box[3] - box[2])
    thin = min(widths)
    # Lengthwise a field cannot vary faster than the distance rule allows, so long thin bodies get long elements.
    across = 3 if body.conducting else 2
    longest = min(body.longest_under(rule), max(extent / 12.0, thin / across))
    if axis == 0 or extent == thin:
        longest = min(longest, extent / across)
    for k, (a, b) in enumerate(pairwise(lines)):
        if a >= low - _SAME * extent and b <= high + _SAME * extent:
            cap[k] = min(cap[k], longest)
            whole = b - a > 0.999 * extent
            fewest[k] = max(fewest[k], across if whole else 2)
