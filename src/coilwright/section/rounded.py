"""Meshes of round sections: turns of wire and tube, wire rings, balls on the axis."""

from __future__ import annotations

import math

import numpy as np

from coilwright.section.blocks import disc, half_disc
from coilwright.section.grading import Wanted, breaks, wanted
from coilwright.section.mesh import Mesh
from coilwright.section.quad9 import Array
from coilwright.section.sizes import BodySize, MeshRule

SAMPLES = 72  # directions in which the distance to everything else is taken


def directions(start: float, end: float) -> Array:
    return np.linspace(start, end, SAMPLES + 1)


def mesh_circle(
    centre: tuple[float, float],
    radius: float,
    region: str,
    size: BodySize,
    rule: MeshRule,
    distance: Array,
    bore: tuple[float, str] | None = None,
) -> Mesh:
    """Round section off the axis; `distance` (SAMPLES + 1,) m to everything else in each of `directions(0, 2 pi)`."""
    angle = directions(0.0, 2.0 * math.pi)
    ask = _round(angle, distance, radius, size, rule, rule.around)
    turned = [ask.at - 2.0 * math.pi, ask.at, ask.at + 2.0 * math.pi]  # a limit near 0 also holds near 2 pi
    ask = Wanted(np.concatenate(turned), np.tile(ask.size, 3), ask.longest)
    around = breaks(0.0, 2.0 * math.pi, ask, rule.growth, rule.scale, 10)
    return disc(centre, radial(radius, bore[0] if bore else 0.0, size, rule), around, region, bore=bore)


def mesh_ball(centre_z: float, radius: float, region: str, size: BodySize, rule: MeshRule, distance: Array) -> Mesh:
    """Ball on the axis; `distance` as in `mesh_circle`, in `directions(-pi/2, pi/2)`."""
    angle = directions(-0.5 * math.pi, 0.5 * math.pi)
    ask = _round(angle, distance, radius, size, rule, rule.around)
    around = breaks(-0.5 * math.pi, 0.5 * math.pi, ask, rule.growth, rule.scale, 6)
    return half_disc(centre_z, radial(radius, 0.0, size, rule), around, region)


def radial(radius: float, bore: float, size: BodySize, rule: MeshRule) -> Array:
    """Break points from the centre to the surface, graded to the surface; two elements in a bore."""
    wall = radius - bore
    longest = min(size.longest_under(rule), wall / (2.0 if bore else 3.0))
    if size.front_depth is not None:
        longest = min(longest, max(0.2 * size.front_depth, wall / 60.0))
    ask = wanted([radius], [min(size.first(rule), wall)], longest)
    out = breaks(bore, radius, ask, rule.growth, rule.scale, math.ceil(3 / rule.scale - 0.2))
    return np.concatenate([[0.0, 0.5 * bore], out]) if bore else out


def _round(angle: Array, distance: Array, radius: float, size: BodySize, rule: MeshRule, fewest: int) -> Wanted:
    """Wanted element sizes along the angle (rad); never finer than a fifth of the plain division."""
    plain = 2.0 * math.pi / fewest
    longest = min(plain, size.longest_under(rule) / radius)
    length = np.maximum(distance / radius, plain / 5.0)
    near = length < plain
    return wanted(angle[near], length[near], longest)
