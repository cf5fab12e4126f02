"""Closed outlines of straight and arc segments in the half-plane r >= 0."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from coilwright.section.nearest import nearest_pair
from coilwright.section.quad9 import Array, BoolArray, gauss

_STRAIGHT = 1e-9  # m: an arc that rises less over its chord is a straight line


@dataclass(frozen=True)
class Nearest:
    """Shortest distance (m) between two outlines and where it is: `here` on the first, `there` on the other (r, z)."""

    distance: float
    here: tuple[float, float]
    there: tuple[float, float]


@dataclass(frozen=True, eq=False)
class Outline:
    """Closed loop, counter-clockwise (area on the left).

    `vertices` (n, 2) are r, z in m; segment i runs from vertex i to vertex i+1 (the last back to the first).
    `bulges` (n,) is the tangent of a quarter of the angle each segment turns through: 0 straight, positive
    counter-clockwise, 1 a half circle (the convention of drawing exchange files). Make one with `closed`, `polygon`,
    `rectangle` or `circle`, which put it in the right order.
    """

    vertices: Array
    bulges: Array

    @classmethod
    def closed(
        cls, vertices: Sequence[Sequence[float]] | Array, bulges: Sequence[float] | Array | None = None
    ) -> Outline:
        """From vertices in either order; `bulges` default to straight."""
        v = np.array(vertices, dtype=float)
        b = np.zeros(len(v)) if bulges is None else np.array(bulges, dtype=float)
        rise = 0.5 * np.abs(b) * np.hypot(*(np.roll(v, -1, axis=0) - v).T)
        b[rise < _STRAIGHT] = 0.0  # its radius would be so large that its centre carries no digits
        loop = cls(v, b)
        return loop if loop.area > 0.0 else cls(v[::-1].copy(), -np.roll(b[::-1], -1))

    @classmethod
    def polygon(cls, *points: tuple[float, float]) -> Outline:
        return cls.closed(points)

    @classmethod
    def rectangle(cls, r: tuple[float, float], z: tuple[float, float]) -> Outline:
        return cls.polygon((r[0], z[0]), (r[1], z[0]), (r[1], z[1]), (r[0], z[1]))

    @classmethod
    def circle(cls, centre: tuple[float, float], radius: float) -> Outline:
        """Section of a ring of round wire; for a ball on the axis use `half_circle`."""
        r, z = centre
        return cls.closed([(r + radius, z), (r - radius, z)], [1.0, 1.0])

    @classmethod
    def half_circle(cls, centre_z: float, radius: float) -> Outline:
        return cls.closed([(0.0, centre_z - radius), (0.0, centre_z + radius)], [1.0, 0.0])

    @cached_property
    def segments(self) -> Array:
        """(n, 9) rows as `nearest` wants them."""
        start, end, b = self.vertices, np.roll(self.vertices, -1, axis=0), self.bulges
        out = np.zeros((len(b), 9))
        out[:, :2], out[:, 2:4] = start, end
        arc = b != 0.0
        chord = end[arc] - start[arc]
        bulge = b[arc]
        towards = (1.0 - bulge**2) / (4.0 * bulge)  # centre lies left of the chord by this share of its length
        centre = 0.5 * (start[arc] + end[arc]) + towards[:, None] * np.column_stack([-chord[:, 1], chord[:, 0]])
        out[arc, 4:6] = centre
        out[arc, 6] = np.hypot(*chord.T) * (1.0 + bulge**2) / (4.0 * np.abs(bulge))
        out[arc, 7] = np.arctan2(start[arc, 1] - centre[:, 1], start[arc, 0] - centre[:, 0])
        out[arc, 8] = 4.0 * np.arctan(bulge)
        return out

    @cached_property
    def lengths(self) -> Array:
        """(n,): length of each segment, m."""
        s = self.segments
        straight = np.hypot(s[:, 2] - s[:, 0], s[:, 3] - s[:, 1])
        return np.where(s[:, 6] > 0.0, s[:, 6] * np.abs(s[:, 8]), straight)

    @cached_property
    def area(self) -> float:
        """Enclosed area (m^2), exact to rounding; negative for a clockwise loop. The loop integral of r dz."""
        r, dz = self._around
        return float(np.sum(r * dz))

    @cached_property
    def volume(self) -> float:
        """Volume of revolution about r = 0 (m^3), exact to rounding: pi times the loop integral of r^2 dz."""
        r, dz = self._around
        return float(math.pi * np.sum(r**2 * dz))

    @cached_property
    def _around(self) -> tuple[Array, Array]:
        """(r, dz) at Gauss points all round, (n, 24): loop integrals to rounding for arcs up to a full half circle.

        Points come from the chord, so that a nearly straight arc of huge radius loses no digits: with half sweep a,
        the way from the start to the fraction t is chord * sin(t a) / sin(a), turned from the chord by (t - 1) a.
        """
        x, w = gauss(24)
        t, w = 0.5 * (1.0 + x), 0.5 * w
        chord = np.roll(self.vertices, -1, axis=0) - self.vertices
        length, heading = np.hypot(*chord.T)[:, None], np.arctan2(chord[:, 1], chord[:, 0])[:, None]
        half = 2.0 * np.arctan(self.bulges)[:, None]
        straight = half == 0.0
        safe = np.where(straight, 1.0, half)
        share = np.where(straight, t, np.sin(t * safe) / np.sin(safe))
        stretch = np.where(straight, 1.0, safe / np.sin(safe))
        r = self.vertices[:, :1] + length * share * np.cos(heading + (t - 1.0) * half)
        dz = length * stretch * np.sin(heading + (2.0 * t - 1.0) * half) * w
        return r, dz

    @cached_property
    def box(self) -> tuple[float, float, float, float]:
        """(r lowest, r highest, z lowest, z highest), m; arcs included."""
        corners = [self.vertices]
        for s in self.segments[self.segments[:, 6] > 0.0]:
            low, high = sorted((s[7], s[7] + s[8]))
            quarter = np.arange(math.ceil(low / (math.pi / 2)), math.floor(high / (math.pi / 2)) + 1) * (math.pi / 2)
            corners.append(np.column_stack([s[4] + s[6] * np.cos(quarter), s[5] + s[6] * np.sin(quarter)]))
        p = np.concatenate(corners)
        (r0, z0), (r1, z1) = p.min(axis=0), p.max(axis=0)
        return float(r0), float(r1), float(z0), float(z1)

    def contains(self, points: Array) -> BoolArray:
        """(n,): which of the points (n, 2) lie inside (on the line itself either answer may come)."""
        p = np.atleast_2d(np.asarray(points, dtype=float))
        r, z = p[:, :1], p[:, 1:]
        a, b = self.vertices, np.roll(self.vertices, -1, axis=0)
        spans = (a[:, 1] > z) != (b[:, 1] > z)
        with np.errstate(divide="ignore", invalid="ignore"):
            cross = a[:, 0] + (z - a[:, 1]) * (b[:, 0] - a[:, 0]) / (b[:, 1] - a[:, 1])
        inside = np.count_nonzero(spans & (r < cross), axis=1) % 2 == 1
        for s in self.segments[self.segments[:, 6] > 0.0]:  # between chord and arc membership flips
            in_circle = (p[:, 0] - s[4]) ** 2 + (p[:, 1] - s[5]) ** 2 < s[6] ** 2
            side = (s[2] - s[0]) * (p[:, 1] - s[1]) - (s[3] - s[1]) * (p[:, 0] - s[0])
            inside ^= in_circle & ((side < 0.0) if s[8] > 0.0 else (side > 0.0))
        return np.asarray(inside)

    def points_along(self, segment: int, fractions: Array) -> Array:
        """(k, 2): points on one segment at fractions 0..1 of its length."""
        s = self.segments[segment]
        t = np.asarray(fractions, dtype=float)
        if s[6] == 0.0:
            return np.asarray(s[None, :2] * (1.0 - t[:, None]) + s[None, 2:4] * t[:, None])
        angle = s[7] + s[8] * t
        out = np.column_stack([s[4] + s[6] * np.cos(angle), s[5] + s[6] * np.sin(angle)])
        out[t == 0.0], out[t == 1.0] = s[:2], s[2:4]
        return out

    def polyline(self, tolerance: float) -> Array:
        """(k, 2): corners of a polygon that stays within `tolerance` (m) of the outline; not repeated at the end."""
        parts = []
        for i, s in enumerate(self.segments):
            n = 1
            if s[6] > 0.0:
                step = 2.0 * math.acos(max(0.0, 1.0 - min(tolerance, s[6]) / s[6]))
                n = max(2, math.ceil(abs(s[8]) / step))
            parts.append(self.points_along(i, np.arange(n) / n))
        return np.concatenate(parts)

    def distance_to(self, other: Outline) -> Nearest:
        """Shortest distance between the two lines (0 when they cross; containment is not looked at)."""
        d, ra, za, rb, zb = nearest_pair(self.segments, other.segments)
        return Nearest(float(d), (float(ra), float(za)), (float(rb), float(zb)))

    def moved(self, right: float = 0.0, up: float = 0.0) -> Outline:
        return Outline(self.vertices + np.array([right, up]), self.bulges)

    @cached_property
    def is_rectilinear(self) -> bool:
        """All segments straight and parallel to an axis (to 1e-9 of the size)."""
        step = np.abs(np.roll(self.vertices, -1, axis=0) - self.vertices)
        return bool(np.all(self.bulges == 0.0) and np.all(step.min(axis=1) <= 1e-9 * np.ptp(self.vertices)))

    @cached_property
    def as_circle(self) -> tuple[tuple[float, float], float] | None:
        """(centre, radius) when the outline is one full circle, else None."""
        s = self.segments
        if np.any(s[:, 6] == 0.0) or abs(abs(s[:, 8].sum()) - 2.0 * math.pi) > 1e-6:
            return None
        if np.ptp(s[:, 4:7], axis=0).max() > 1e-7 * s[0, 6]:
            return None
        return (float(s[0, 4]), float(s[0, 5])), float(s[0, 6])

    @cached_property
    def as_half_circle(self) -> tuple[float, float] | None:
        """(centre z, radius) when the outline is a half circle standing on the axis, else None."""
        s = self.segments
        arcs, lines = s[s[:, 6] > 0.0], s[s[:, 6] == 0.0]
        if len(arcs) == 0 or len(lines) == 0 or abs(abs(arcs[:, 8].sum()) - math.pi) > 1e-6:
            return None
        radius = float(arcs[0, 6])
        same = np.ptp(arcs[:, 4:7], axis=0).max() <= 1e-7 * radius
        on_axis = np.abs(lines[:, [0, 2]]).max() <= 1e-9 * radius and abs(arcs[0, 4]) <= 1e-7 * radius
        return (float(arcs[0, 5]), radius) if same and on_axis else None
