"""Simple free-space fields for a first safety distance, where no computed field is at hand.

They leave out the workpiece (which lowers the field) and metal parts of the machine (which may raise it in places).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

MU0 = 4e-7 * math.pi


def rings_on_axis(radii: Sequence[float], heights: Sequence[float], current: float, z: float) -> float:
    """B (T) on the axis at height `z` (m) of coaxial rings of `radii` and `heights` (m) that carry `current` (A)
    each.

    mu0 I a^2 / 2 (a^2 + (z - h)^2)^(3/2), exact for thin rings; rms current gives rms field. Source: any text on
    Biot and Savart, e.g. Jackson, Classical Electrodynamics, 3rd ed., section 5.5.
    """
    rings = zip(radii, heights, strict=True)
    return float(sum(0.5 * MU0 * current * a * a / (a * a + (z - h) ** 2) ** 1.5 for a, h in rings))


def dipole_moment(radii: Sequence[float], current: float) -> float:
    """Magnetic moment (A m^2) of rings in series: I sum(pi a^2)."""
    return current * math.pi * sum(a * a for a in radii)


def dipole_field(moment: float, distance: float) -> float:
    """Largest |B| (T) at `distance` (m) from a small coil over all directions: on its axis, mu0 m / (2 pi d^3).

    Within 5 % from d = 5.5 ring radii on, and above the true field nearer by: the safe side. Across the axis it is
    half as much.
    """
    return MU0 * moment / (2.0 * math.pi * distance**3)


def pair_field(current: float, spacing: float, distance: float) -> float:
    """Largest |B| (T) at `distance` (m) from a long go-and-return pair of leads `spacing` (m) apart, in their plane.

    mu0 I s / (2 pi (d^2 - s^2/4)), exact for thin long wires, d from the middle; leads often outweigh a small coil.
    """
    return MU0 * current * spacing / (2.0 * math.pi * (distance * distance - 0.25 * spacing * spacing))
