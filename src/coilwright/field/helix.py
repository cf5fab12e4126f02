"""What a real helix differs by from the rings that stand for it: its current also climbs."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from coilwright.field.exterior import MU0
from coilwright.section.quad9 import Array, gauss

_POINTS = 16  # Gauss points on each of the graded pieces of a turn


@dataclass(frozen=True)
class HelixExcess:
    """Relative excess of the helix over its rings: `inductance` of the empty coil, `length` of the conductor."""

    inductance: float
    length: float


def helix_inductance_thin(radius: float, pitch: float, turns: float, distance: float) -> float:
    """Inductance (H) of a thin helix by Neumann's integral, its terminals left open.

    `radius`, `pitch` in m, `turns` need not be whole; `distance` (m) is the geometric mean distance of the conductor's section
    from itself (its radius for current on the surface of a round one), small against radius and pitch. By the screw symmetry
    the double integral is a single one over the angle u between two points,
    L = mu0/(2 pi) int_0^{2 pi N} (2 pi N - u) (R^2 cos u + h^2) / sqrt(4 R^2 sin^2(u/2) + h^2 u^2 + g^2) du, h = p/(2 pi).
    Source of the integral: Neumann, as in Rosa & Grover, Bulletin of the Bureau of Standards 8 (1912) 1.
    """
    whole, climb = 2.0 * math.pi * turns, pitch / (2.0 * math.pi)
    u, w = _graded(whole, pitch, radius, distance)
    apart = np.sqrt(4.0 * radius**2 * np.sin(0.5 * u) ** 2 + (climb * u) ** 2 + distance**2)
    along = radius**2 * np.cos(u) + climb**2
    return float(MU0 / (2.0 * math.pi) * np.sum(w * (whole - u) * along / apart))


def rings_inductance_thin(radius: float, heights: Array, weights: Array, distance: float) -> float:
    """Inductance (H) of coaxial thin rings at `heights` (m) in series, each counted with its weight; same integral, no climb."""
    gap = np.abs(heights[:, None] - heights[None, :]).ravel()
    share = np.outer(weights, weights).ravel()
    total = 0.0
    for d in np.unique(gap):
        u, w = _graded(2.0 * math.pi, float(d), radius, distance)
        apart = np.sqrt(4.0 * radius**2 * np.sin(0.5 * u) ** 2 + d**2 + distance**2)
        total += float(np.sum(share[gap == d])) * float(np.sum(w * radius**2 * np.cos(u) / apart))
    return 0.5 * MU0 * total


def helix_excess(radius: float, pitch: float, heights: Array, weights: Array, distance: float) -> HelixExcess:
    """Helix of sum(weights) turns against its rings; arguments as above. The leads that close the loop are not counted."""
    turns = float(np.sum(weights))
    helix = helix_inductance_thin(radius, pitch, turns, distance)
    rings = rings_inductance_thin(radius, heights, weights, distance)
    return HelixExcess(helix / rings - 1.0, math.hypot(1.0, pitch / (2.0 * math.pi * radius)) - 1.0)


def _graded(whole: float, climb_per_turn: float, radius: float, distance: float) -> tuple[Array, Array]:
    """(points, weights) on 0..whole (rad), finer near every full turn where two points of the conductor are close."""
    breaks = [np.array([0.0, whole])]
    for k in range(int(whole / (2.0 * math.pi)) + 2):
        close = math.hypot(k * climb_per_turn, distance) / math.hypot(radius, climb_per_turn / (2.0 * math.pi))
        steps = math.pi * 2.0 ** -np.arange(max(1, math.ceil(math.log2(max(2.0, math.pi / close))) + 1))
        breaks += [2.0 * math.pi * k + steps, 2.0 * math.pi * k - steps, np.array([2.0 * math.pi * k])]
    at = np.unique(np.clip(np.concatenate(breaks), 0.0, whole))
    x, w = gauss(_POINTS)
    half = 0.5 * np.diff(at)
    return (0.5 * (at[:-1] + at[1:])[:, None] + half[:, None] * x).ravel(), (half[:, None] * w).ravel()
