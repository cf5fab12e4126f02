"""View factors between surfaces of revolution, with everything that stands between them.

From every patch, rays leave with the cosine law from points spread evenly over its area (a low-discrepancy lattice in
position and direction, so the result is repeatable) and are followed to the first surface; a semi-transparent wall lets
its share through. What reaches no patch goes to the surroundings. The raw counts are then made reciprocal
(A_i F_ij = A_j F_ji) and scaled so that every row keeps its sum.
Definition and rules: Siegel & Howell, Thermal Radiation Heat Transfer, 4th ed., chapters 6-7.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from coilwright.heat.surfaces import Patches
from coilwright.section.quad9 import Array, IntArray

_SPENT = 1e-6  # weight of a ray that is followed no further
_PLASTIC = 1.324717957244746  # root of x^3 = x + 1: the lattice of 1/x and 1/x^2 fills the square evenly


@dataclass(frozen=True, eq=False)
class ViewFactors:
    """`between` (p, p): share of what leaves i arriving at j; `outside` (p,): share reaching the surroundings.

    With `transmittance` (p,) of the walls, sum_j between[i, j] (1 - transmittance[j]) + outside[i] = 1.
    `reciprocity_error` is the largest |A_i F_ij - A_j F_ji| / min(A_i, A_j) of the raw counts, `closure_error` the
    largest row-sum defect after smoothing (put to the surroundings); `rays` how many left each patch.
    """

    between: Array
    outside: Array
    transmittance: Array
    reciprocity_error: float
    closure_error: float
    rays: int


def view_factors(patches: Patches, transmittances: Array, rays: int = 2048) -> tuple[ViewFactors, ...]:
    """View factors of all patches for every row of `transmittances` (k, p), 0 for opaque ones: the same rays serve all rows.
    The error falls about as 1/rays^0.8."""
    raw, outside = trace(patches.chords, patches.chord_patch, transmittances, rays)
    return tuple(_smoothed(patches.area, *row, rays) for row in zip(raw, outside, transmittances, strict=True))


def _smoothed(area: Array, raw: Array, outside: Array, transmittance: Array, rays: int) -> ViewFactors:
    exchange = area[:, None] * raw
    gap = np.abs(exchange - exchange.T) / np.minimum(area[:, None], area[None])
    # each side counted with the weight of its statistical accuracy: the smaller patch sees the larger one better
    smooth = (area[None] * exchange + area[:, None] * exchange.T) / (area[:, None] + area[None])
    smooth = _scaled(smooth, area * (1.0 - outside), 1.0 - transmittance)
    between = smooth / area[:, None]
    rest = 1.0 - between @ (1.0 - transmittance)
    closure = float(np.abs(rest - outside).max(initial=0.0))
    return ViewFactors(between, np.maximum(rest, 0.0), transmittance, float(gap.max(initial=0.0)), closure, rays)


def _scaled(smooth: Array, target: Array, stopping: Array) -> Array:
    """Symmetric scaling x_i S_ij x_j that brings the row sums (over what stops) to `target`."""
    x = np.ones(len(target))
    for _ in range(200):
        row = x * (smooth @ (x * stopping))
        live = (row > 0.0) & (target > 0.0)
        if np.all(np.abs(row - target)[live] <= 1e-12 * target[live]):
            break
        x[live] *= np.sqrt(target[live] / row[live])
    return np.asarray(x[:, None] * smooth * x[None])


def trace(chords: Array, owner: IntArray, transmittances: Array, rays: int) -> tuple[Array, Array]:
    """Raw between (k, p, p) and outside (k, p) for every row of `transmittances` (k, p), from straight pieces `chords` (c, 4) of
    the outlines, body on the left."""
    span = float(np.abs(chords).max())
    return _trace(np.ascontiguousarray(chords), owner, transmittances, rays, 1e-7 * span)  # type: ignore[no-any-return]


@njit(cache=True)
def _trace(chords, owner, transmittances, rays, tiny):  # type: ignore[no-untyped-def]
    c = len(chords)
    kinds, count = transmittances.shape
    between = np.zeros((kinds, count, count))
    outside = np.zeros((kinds, count))
    weight = np.empty(kinds)
    share = np.empty(c)
    places, ahead, along, around = np.empty(rays), np.empty(rays), np.empty(rays), np.empty(rays)
    for n in range(rays):  # the same from every patch
        places[n] = (0.5 + (n + 1) / _PLASTIC) % 1.0
        v = (0.5 + (n + 1) / _PLASTIC**2) % 1.0
        w = (n + 0.5) / rays
        ahead[n] = np.sqrt(1.0 - w)
        along[n], around[n] = np.sqrt(w) * np.cos(np.pi * v), np.sqrt(w) * np.sin(np.pi * v)
    for p in range(count):
        total = 0.0
        for k in range(c):
            if owner[k] == p:
                dr, dz = chords[k, 2] - chords[k, 0], chords[k, 3] - chords[k, 1]
                total += (chords[k, 0] + chords[k, 2]) * np.sqrt(dr * dr + dz * dz)
            share[k] = total
        for n in range(rays):
            u, cosine, a, b = places[n], ahead[n], along[n], around[n]
            k = 0
            while share[k] <= u * total or owner[k] != p:
                k += 1
            before = share[k - 1] if k > 0 else 0.0
            f = (u * total - before) / (share[k] - before)
            r0, dr, z0, dz = chords[k, 0], chords[k, 2] - chords[k, 0], chords[k, 1], chords[k, 3] - chords[k, 1]
            r1 = r0 + dr
            # position by area: r^2 is linear in the covered area of a cone
            s = f if abs(dr) < 1e-12 * (r0 + r1) else (np.sqrt(r0 * r0 + f * (r1 * r1 - r0 * r0)) - r0) / dr
            length = np.sqrt(dr * dr + dz * dz)
            tr, tz = dr / length, dz / length
            weight[:] = 1.0 / rays
            _follow(
                chords, owner, transmittances, r0 + s * dr, z0 + s * dz,
                cosine * tz + a * tr, b, -cosine * tr + a * tz, between, outside, p, weight, tiny,
            )  # fmt: skip
    return between, outside


@njit(cache=True)
def _follow(chords, owner, transmittances, x, z, dx, dy, dz, between, outside, source, weight, tiny):  # type: ignore[no-untyped-def]
    """One ray from (x, 0, z) along the unit vector (dx, dy, dz), through walls until it stops or leaves. `weight` (k,) is what
    is left of it for each kind of wall; what has stopped has none."""
    start = tiny
    steep = 1.0 / dz if dz != 0.0 else np.inf
    while weight.max() > _SPENT:
        best = 1e300
        hit = -1
        for k in range(len(chords)):
            # between the heights of the piece's ends the ray is elsewhere: most pieces need no more than this
            at, to = (chords[k, 1] - z) * steep, (chords[k, 3] - z) * steep
            if (at >= best and to >= best) or (at <= start and to <= start):
                continue
            t = _meets(chords[k, 0], chords[k, 1], chords[k, 2], chords[k, 3], x, z, dx, dy, dz, start, best)
            if t < best:
                best = t
                hit = k
        if hit < 0:
            outside[:, source] += weight
            return
        start = best + tiny
        er, ez = chords[hit, 2] - chords[hit, 0], chords[hit, 3] - chords[hit, 1]
        px = x + best * dx
        py = best * dy
        facing = (dx * px + dy * py) / max(np.sqrt(px * px + py * py), 1e-300) * ez - dz * er
        there = owner[hit]
        for k in range(len(weight)):
            through = transmittances[k, there]
            if facing < 0.0:  # from outside; the back of a wall was paid for at its front
                between[k, source, there] += weight[k]
                weight[k] *= through
            elif through == 0.0:
                weight[k] = 0.0  # inside an opaque body: only by rounding, beside an edge
            if weight[k] <= _SPENT:
                weight[k] = 0.0


@njit(cache=True)
def _meets(r0, z0, r1, z1, x, z, dx, dy, dz, start, best):  # type: ignore[no-untyped-def]
    """Smallest ray parameter in (start, best) at which the ray meets a cone piece; 1e300 if none."""
    er, ez = r1 - r0, z1 - z0
    if abs(ez) < 1e-12 * abs(er):  # flat ring
        if dz == 0.0:
            return 1e300
        t = (z0 - z) / dz
        if t <= start or t >= best:
            return 1e300
        q = (x + t * dx) ** 2 + (t * dy) ** 2
        low, high = min(r0, r1), max(r0, r1)
        return t if low * low <= q <= high * high else 1e300
    m = er / ez
    base = r0 + m * (z - z0)
    a = dx * dx + dy * dy - m * m * dz * dz
    b = x * dx - m * dz * base
    c = x * x - base * base
    if abs(a) < 1e-14:
        if b == 0.0:
            return 1e300
        t = -0.5 * c / b
        return t if _inside(t, start, best, z, dz, z0, ez, base, m) else 1e300
    disc = b * b - a * c
    if disc < 0.0:
        return 1e300
    root = np.sqrt(disc)
    q = -(b + root) if b > 0.0 else root - b
    t1 = q / a
    t2 = c / q if q != 0.0 else 1e300
    if t2 < t1:
        t1, t2 = t2, t1
    if _inside(t1, start, best, z, dz, z0, ez, base, m):
        return t1
    return t2 if _inside(t2, start, best, z, dz, z0, ez, base, m) else 1e300


@njit(cache=True)
def _inside(t, start, best, z, dz, z0, ez, base, m):  # type: ignore[no-untyped-def]
    if t <= start or t >= best:
        return False
    s = (z + t * dz - z0) / ez
    return 0.0 <= s <= 1.0 and base + m * t * dz >= 0.0
