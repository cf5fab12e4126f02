"""Outlines of the shapes a job file can name: bodies, and stacking of coil turns. Lengths in m."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.section.nearest import nearest_pair
from coilwright.section.outline import Outline
from coilwright.section.quad9 import Array

OPENS = ("up", "down", "inwards", "outwards")
_SAME = 1e-9  # m; closer than this two points of a profile are one


def ring(outer_diameter: float, inner_diameter: float, height: float, centre: float = 0.0) -> Outline:
    """Ring, washer or tube of rectangular section; inner diameter 0 gives a full cylinder."""
    half = 0.5 * height
    return Outline.rectangle((0.5 * inner_diameter, 0.5 * outer_diameter), (centre - half, centre + half))


def bar(diameter: float, length: float, centre: float = 0.0) -> Outline:
    """Full cylinder on the axis: bar or disc."""
    return ring(diameter, 0.0, length, centre)


def ball(diameter: float, centre: float = 0.0) -> Outline:
    return Outline.half_circle(centre, 0.5 * diameter)


def wire_ring(mean_diameter: float, wire_diameter: float, centre: float = 0.0) -> Outline:
    return Outline.circle((0.5 * mean_diameter, centre), 0.5 * wire_diameter)


def channel_ring(
    outer_diameter: float, inner_diameter: float, height: float, wall: float, opens: str, centre: float = 0.0
) -> Outline:
    """Ring of U section, all three sides `wall` thick, open to one of `OPENS`."""
    a, b = 0.5 * inner_diameter, 0.5 * outer_diameter
    low, high = centre - 0.5 * height, centre + 0.5 * height
    if opens not in OPENS:
        raise BadInput(Fault("shape.opens", f'must be one of {", ".join(OPENS)}; received "{opens}"'))
    if opens in ("up", "down"):  # floor at v = 0, walls at both ends of u
        u, v = (a, a + wall, b - wall, b), (low, low + wall, high)
    else:
        u, v = (low, low + wall, high - wall, high), (b, b - wall, a) if opens == "inwards" else (a, a + wall, b)
    if opens == "down":
        v = (high, high - wall, low)
    loop = [(0, 0), (3, 0), (3, 2), (2, 2), (2, 1), (1, 1), (1, 2), (0, 2)]
    points = [(u[i], v[j]) for i, j in loop]
    return Outline.closed(points if opens in ("up", "down") else [(r, z) for z, r in points])


def profile(points: Sequence[Sequence[float]], where: str, *, up: float = 0.0) -> Outline:
    """Closed polygon in (r, z), in either order, the last point joined to the first.

    Raises BadInput for fewer than three points, a point left of the axis or sides that cross.
    """
    v = np.array(points, dtype=float).reshape(-1, 2)
    step = np.hypot(*(np.roll(v, -1, axis=0) - v).T)
    v = v[step > _SAME]
    if len(v) < 3:
        raise BadInput(Fault(where, f"a profile needs at least three different points; received {len(v)}"))
    return checked(Outline.closed(simplified(v) + np.array([0.0, up])), where)


def simplified(vertices: Array) -> Array:
    """The polygon without the points that stand in the middle of a straight side."""
    before, after = np.roll(vertices, 1, axis=0), np.roll(vertices, -1, axis=0)
    u, v = vertices - before, after - vertices
    turn = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    straight = (np.abs(turn) <= 1e-12 * np.hypot(*u.T) * np.hypot(*v.T)) & (np.sum(u * v, axis=1) > 0.0)
    return np.asarray(vertices[~straight])


def checked(outline: Outline, where: str) -> Outline:
    """The outline itself when it may be revolved: r >= 0, area above nothing, no crossing; else BadInput."""
    low = outline.box[0]
    if low < -_SAME:
        place = outline.vertices[np.argmin(outline.vertices[:, 0])]
        at = f"r = {low * 1e3:.4g} mm near z = {place[1] * 1e3:.4g} mm"
        raise BadInput(Fault(where, f"every point must have r >= 0 (r is the radius); received {at}"))
    crossing = _self_crossing(outline)
    if crossing is not None:
        at = f"r = {crossing[0] * 1e3:.4g} mm, z = {crossing[1] * 1e3:.4g} mm"
        raise BadInput(Fault(where, f"the outline must not cross or touch itself; it does at {at}"))
    if outline.area < 1e-15:
        raise BadInput(Fault(where, "the outline must enclose an area; all its points lie on one line"))
    on_axis = np.abs(outline.vertices[:, 0]) <= _SAME
    if np.any(on_axis):
        v = outline.vertices.copy()
        v[on_axis, 0] = 0.0
        return Outline(v, outline.bulges)
    return outline


def _self_crossing(outline: Outline) -> tuple[float, float] | None:
    s = outline.segments
    n = len(s)
    for i in range(n):
        for j in range(i + 2, n - (i == 0)):
            d, r, z, _, _ = nearest_pair(s[i : i + 1], s[j : j + 1])
            if d <= _SAME:
                return r, z
    if n > 2:  # neighbours share a point; doubling back over each other is caught by their directions
        v = outline.vertices
        u = np.roll(v, -1, axis=0) - v
        u /= np.hypot(*u.T)[:, None]
        straight = outline.bulges == 0.0
        back = (np.sum(u * np.roll(u, -1, axis=0), axis=1) < -1.0 + 1e-12) & straight & np.roll(straight, -1)
        if np.any(back):
            r, z = np.roll(v, -1, axis=0)[np.argmax(back)]
            return float(r), float(z)
    return None


def helix_rings(turns: float, mean_diameter: float, pitch: float, centre: float) -> list[tuple[float, float, float]]:
    """(r, z, weight) of the rings that stand for a helix: one a pitch apart, balanced about `centre`.

    A part turn is a ring of weight < 1 at the upper end.
    """
    weight = _weights(turns)
    z = np.arange(len(weight)) * pitch
    z += centre - np.average(z, weights=weight)
    return [(0.5 * mean_diameter, float(at), float(w)) for at, w in zip(z, weight, strict=True)]


def spiral_rings(
    turns: float, inner_diameter: float, outer_diameter: float, centre: float
) -> list[tuple[float, float, float]]:
    """(r, z, weight) of the rings of a flat spiral, from the innermost outwards; a part turn is the outermost."""
    weight = _weights(turns)
    r = 0.5 * np.linspace(inner_diameter, outer_diameter, len(weight))
    return [(float(at), centre, float(w)) for at, w in zip(r, weight, strict=True)]


def _weights(turns: float) -> Array:
    whole = math.floor(turns + 1e-9)
    part = turns - whole
    return np.array([1.0] * whole + ([part] if part > 1e-9 else []))
