"""Nearest points between straight and arc segments in the (r, z) plane, compiled.

A segment is a row of nine numbers: start (r, z), end (r, z), arc centre (r, z), arc radius (0 for a straight one),
start angle, sweep (rad, positive counter-clockwise). Lengths in m. Everything is exact up to rounding: the nearest
pair of two segments is found among their end points, the feet of perpendiculars and their intersections.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from coilwright.section.quad9 import Array

TWO_PI = 2.0 * math.pi
_ANGLE_SLACK = 1e-9


@njit(cache=True)
def on_arc(s: Array, angle: float) -> bool:
    """Whether the direction `angle` from the arc's centre meets the arc."""
    turn = angle - s[7] if s[8] > 0.0 else s[7] - angle
    turn = turn % TWO_PI
    return bool(turn <= abs(s[8]) + _ANGLE_SLACK or turn >= TWO_PI - _ANGLE_SLACK)


@njit(cache=True)
def foot(s: Array, r: float, z: float) -> tuple[float, float]:
    """Point of segment `s` nearest to (r, z)."""
    if s[6] == 0.0:
        ur, uz = s[2] - s[0], s[3] - s[1]
        length2 = ur * ur + uz * uz
        t = 0.0 if length2 == 0.0 else ((r - s[0]) * ur + (z - s[1]) * uz) / length2
        t = min(1.0, max(0.0, t))
        return s[0] + t * ur, s[1] + t * uz
    dr, dz = r - s[4], z - s[5]
    d = math.hypot(dr, dz)
    if d > 0.0 and on_arc(s, math.atan2(dz, dr)):
        return s[4] + dr * s[6] / d, s[5] + dz * s[6] / d
    if math.hypot(r - s[0], z - s[1]) <= math.hypot(r - s[2], z - s[3]):
        return s[0], s[1]
    return s[2], s[3]


@njit(cache=True)
def _candidates(a: Array, b: Array, out: Array) -> int:
    """Points of `a` that may be the one nearest to `b`; returns how many were written to `out` (12, 2)."""
    n = 2
    out[0, 0], out[0, 1], out[1, 0], out[1, 1] = a[0], a[1], a[2], a[3]
    if b[6] == 0.0:  # ends of b dropped on a
        for k in range(2):
            out[n, 0], out[n, 1] = foot(a, b[2 * k], b[2 * k + 1])
            n += 1
    if a[6] == 0.0 and b[6] == 0.0:
        ur, uz, vr, vz = a[2] - a[0], a[3] - a[1], b[2] - b[0], b[3] - b[1]
        det = ur * vz - uz * vr
        if det != 0.0:
            t = ((b[0] - a[0]) * vz - (b[1] - a[1]) * vr) / det
            if 0.0 <= t <= 1.0:
                out[n, 0], out[n, 1] = a[0] + t * ur, a[1] + t * uz
                n += 1
    elif a[6] == 0.0:  # straight a, arc b: foot of b's centre, meetings with b's circle
        out[n, 0], out[n, 1] = foot(a, b[4], b[5])
        n += 1
        ur, uz = a[2] - a[0], a[3] - a[1]
        wr, wz = a[0] - b[4], a[1] - b[5]
        qa, qb, qc = ur * ur + uz * uz, ur * wr + uz * wz, wr * wr + wz * wz - b[6] * b[6]
        disc = qb * qb - qa * qc
        if disc >= 0.0 and qa > 0.0:
            for sign in (-1.0, 1.0):
                t = (-qb + sign * math.sqrt(disc)) / qa
                if 0.0 <= t <= 1.0:
                    out[n, 0], out[n, 1] = a[0] + t * ur, a[1] + t * uz
                    n += 1
    elif b[6] != 0.0:  # two arcs: along the line of centres, meetings of the circles
        dr, dz = b[4] - a[4], b[5] - a[5]
        d = math.hypot(dr, dz)
        out[n, 0], out[n, 1] = foot(a, b[4], b[5])
        n += 1
        if d > 0.0:
            opposite = (a[4] - dr * a[6] / d, a[5] - dz * a[6] / d)
            out[n, 0], out[n, 1] = foot(a, opposite[0], opposite[1])
            n += 1
            along = (d * d + a[6] * a[6] - b[6] * b[6]) / (2.0 * d)
            h2 = a[6] * a[6] - along * along
            if h2 >= 0.0:
                h = math.sqrt(h2)
                for sign in (-1.0, 1.0):
                    r = a[4] + (along * dr - sign * h * dz) / d
                    z = a[5] + (along * dz + sign * h * dr) / d
                    out[n, 0], out[n, 1] = foot(a, r, z)
                    n += 1
    for k in range(2):
        out[n, 0], out[n, 1] = foot(a, b[2 * k], b[2 * k + 1])
        n += 1
    return n


@njit(cache=True)
def nearest_pair(first: Array, second: Array) -> tuple[float, float, float, float, float]:
    """(distance, r, z on `first`, r, z on `second`) of two chains of segments (n, 9), (m, 9)."""
    best = np.inf
    ra = za = rb = zb = 0.0
    points = np.empty((14, 2))
    for i in range(first.shape[0]):
        for j in range(second.shape[0]):
            for swap in range(2):
                a, b = (first[i], second[j]) if swap == 0 else (second[j], first[i])
                for k in range(_candidates(a, b, points)):
                    r, z = foot(b, points[k, 0], points[k, 1])
                    d = math.hypot(r - points[k, 0], z - points[k, 1])
                    if d < best:
                        best = d
                        if swap == 0:
                            ra, za, rb, zb = points[k, 0], points[k, 1], r, z
                        else:
                            ra, za, rb, zb = r, z, points[k, 0], points[k, 1]
    return best, ra, za, rb, zb


@njit(cache=True)
def distances(points: Array, segments: Array) -> Array:
    """(n,): distance of each point (n, 2) from the nearest of the segments (m, 9); inf without segments."""
    out = np.empty(points.shape[0])
    for i in range(points.shape[0]):
        best = np.inf
        for j in range(segments.shape[0]):
            r, z = foot(segments[j], points[i, 0], points[i, 1])
            best = min(best, math.hypot(r - points[i, 0], z - points[i, 1]))
        out[i] = best
    return out
