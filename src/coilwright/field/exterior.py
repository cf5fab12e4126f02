"""Boundary integrals of the space between the bodies, over rings instead of an air mesh.

For a point x on a skin:   psi/2 - sum K A + mu0 sum V h = psi of given sources,   psi = r A,
    V = integral of M(x, x') phi(x') ds',   K = integral of d_n' M(x, x') N(x') ds',   M from `ring.ring_potential`.
Off the skins the factor 1/2 becomes 1, which gives psi anywhere outside.
"""

from __future__ import annotations

import math

import numpy as np

from coilwright.field.compiled import compiled
from coilwright.field.ring import ring_potential
from coilwright.field.skin import Skin
from coilwright.section.quad9 import Array, IntArray, gauss

MU0 = 4e-7 * math.pi

# Beyond this many edge lengths four Gauss points are enough (1e-9); nearer, the edge is bisected.
FAR = 2.5
# Beyond this many three are.
VERY_FAR = 5.0
ROOT3 = math.sqrt(3.0)
_X3, _W3 = (a.copy() for a in gauss(3))
_X4, _W4 = (a.copy() for a in gauss(4))
_X8, _W8 = (a.copy() for a in gauss(8))
_X12, _W12 = (a.copy() for a in gauss(12))


@compiled
def edge_polynomial(p: Array) -> tuple[float, float, float, float, float, float]:
    """Coefficients of r = r0 + r1 x + r2 x^2 and of z along an edge, x in [-1, 1]."""
    return (
        p[1, 0],
        0.5 * (p[2, 0] - p[0, 0]),
        0.5 * (p[2, 0] + p[0, 0]) - p[1, 0],
        p[1, 1],
        0.5 * (p[2, 1] - p[0, 1]),
        0.5 * (p[2, 1] + p[0, 1]) - p[1, 1],
    )


@compiled
def _sample(
    dr: float, dz: float, ring: float, tr: float, tz: float, x: float, w: float
) -> tuple[float, float, float, float, float]:
    """One quadrature point's share of (V0, V1, K0, K1, K2); n = (tz, -tr)/|t|."""
    m, r_bz, r_br = ring_potential(dr, dz, ring)
    v = m * math.sqrt(tr * tr + tz * tz) * w
    k = (tz * r_bz + tr * r_br) * w
    return (
        0.5 * v * (1.0 - ROOT3 * x),
        0.5 * v * (1.0 + ROOT3 * x),
        0.5 * k * x * (x - 1.0),
        k * (1.0 - x * x),
        0.5 * k * x * (x + 1.0),
    )


@compiled
def _own_edge(rc: float, p: Array, x0: float, out: Array) -> None:
    """The edge the collocation point sits on: split there, x = x0 + L u^4 on either side.

    x' - x is formed from the edge's polynomial: subtracting coordinates would cost digits.
    """
    _, r1, r2, _, z1, z2 = edge_polynomial(p)
    ar, az = r1 + 2.0 * x0 * r2, z1 + 2.0 * x0 * z2
    for side in (-1.0, 1.0):
        reach = 1.0 - side * x0
        for q in range(12):
            u = 0.5 * (1.0 + _X12[q])
            dx = side * reach * u**4
            w = 2.0 * _W12[q] * reach * u**3
            s = _sample(
                dx * (ar + dx * r2), dx * (az + dx * z2), rc, ar + 2.0 * dx * r2, az + 2.0 * dx * z2, x0 + dx, w
            )
            for k in range(5):
                out[k] += s[k]


@compiled
def _piece(rc: float, zc: float, p: Array, middle: float, half: float, x: Array, w: Array, out: Array) -> None:
    """Gauss rule (x, w) on the part [middle - half, middle + half] of an edge."""
    r0, r1, r2, z0, z1, z2 = edge_polynomial(p)
    for q in range(len(x)):
        t = middle + half * x[q]
        s = _sample(
            r0 + t * (r1 + t * r2) - rc,
            z0 + t * (z1 + t * z2) - zc,
            rc,
            r1 + 2.0 * t * r2,
            z1 + 2.0 * t * z2,
            t,
            half * w[q],
        )
        for k in range(5):
            out[k] += s[k]


@compiled
def _near_edge(rc: float, zc: float, p: Array, length: float, stack: Array, out: Array) -> None:
    """Bisect until a piece is farther than about half its length, then eight points."""
    r0, r1, r2, z0, z1, z2 = edge_polynomial(p)
    count = 1
    stack[0, 0], stack[0, 1] = 0.0, 1.0
    while count > 0:
        count -= 1
        middle, half = stack[count, 0], stack[count, 1]
        away = math.hypot(r0 + middle * (r1 + middle * r2) - rc, z0 + middle * (z1 + middle * z2) - zc)
        if away > 1.2 * half * length or half < 1e-7 or count > 60:
            _piece(rc, zc, p, middle, half, _X8, _W8, out)
        else:
            stack[count, 0], stack[count, 1] = middle - 0.5 * half, 0.5 * half
            stack[count + 1, 0], stack[count + 1, 1] = middle + 0.5 * half, 0.5 * half
            count += 2


@compiled
def _far_points(
    r: float, z: float, tr: float, tz: float, x: float, w: float,
    at_r: Array, at_z: Array, mask: Array, v0: Array, v1: Array, k0: Array, k1: Array, k2: Array,
) -> None:  # fmt: skip
    """One quadrature point's share to all far targets at once: `ring_potential` with four AGM steps and no branch, so
    that the compiler works on several targets together. Full accuracy for d/D > 1e-3."""
    s0, s1 = 0.5 * (1.0 - ROOT3 * x) * w, 0.5 * (1.0 + ROOT3 * x) * w
    n0, n1, n2 = 0.5 * x * (x - 1.0) * w, (1.0 - x * x) * w, 0.5 * x * (x + 1.0) * w
    length = math.sqrt(tr * tr + tz * tz) / (2.0 * math.pi)
    nr, nz = tz / (2.0 * math.pi), tr / (2.0 * math.pi)
    for i in range(at_r.shape[0]):
        a = at_r[i]
        dr, dz = r - a, z - at_z[i]
        far2 = (r + a) * (r + a) + dz * dz
        near2 = dr * dr + dz * dz
        per_far2 = 1.0 / far2
        kp2 = near2 * per_far2
        kp = math.sqrt(kp2)
        kk = 4.0 * a * r * per_far2
        mean, geometric = 0.5 * (1.0 + kp), math.sqrt(kp)
        c = 0.25 * kk / mean
        S = c * c
        f = 0.5 * (mean + geometric)
        c = 0.25 * c * c / f
        S += 2.0 * c * c
        geometric = math.sqrt(mean * geometric)
        mean = f
        f = 0.5 * (mean + geometric)
        c = 0.25 * c * c / f
        S += 4.0 * c * c
        geometric = math.sqrt(mean * geometric)
        mean = f
        f = 0.5 * (mean + geometric)
        c = 0.25 * c * c / f
        S += 8.0 * c * c
        geometric = math.sqrt(mean * geometric)
        mean = f
        f = 0.5 * (mean + geometric)
        c = 0.25 * c * c / f
        S += 16.0 * c * c
        c = 0.25 * c * c / f
        S += 32.0 * c * c
        K = 0.5 * math.pi / (f - c) * mask[i]
        E = K * (1.0 - 0.5 * kk - S)
        D = math.sqrt(far2)
        per_D = D * per_far2
        v = D * K * S * length
        r_bz = r * per_D * (K - (dr * (dr + 2.0 * a) + dz * dz) / near2 * E)
        r_br = 0.25 * dz * per_D * K / kp2 * (kk * kk - 2.0 * (1.0 + kp2) * S)
        k = nr * r_bz + nz * r_br
        v0[i] += v * s0
        v1[i] += v * s1
        k0[i] += k * n0
        k1[i] += k * n1
        k2[i] += k * n2


@compiled
def _assemble(at_r: Array, at_z: Array, itself: bool, points: Array, number: IntArray, V: Array, K: Array) -> None:
    """V (2b, n) and K (k + 1, n; the last row collects what belongs to nodes on the axis) by source rows."""
    stack, out = np.empty((64, 2)), np.empty(5)
    n = at_r.shape[0]
    mask = np.empty(n)
    for e in range(points.shape[0]):
        p = points[e]
        length = math.hypot(p[2, 0] - p[0, 0], p[2, 1] - p[0, 1])
        nearest = 1e300
        for i in range(n):
            dr, dz = at_r[i] - p[1, 0], at_z[i] - p[1, 1]
            away2 = dr * dr + dz * dz
            total = at_r[i] + p[1, 0]
            far = away2 > (FAR * length) ** 2 and away2 > 1e-5 * total * total
            mask[i] = 1.0 if far else 0.0
            nearest = min(nearest, away2)
        x, w = (_X3, _W3) if nearest > (VERY_FAR * length) ** 2 else (_X4, _W4)
        r0, r1, r2, z0, z1, z2 = edge_polynomial(p)
        v0, v1 = V[2 * e], V[2 * e + 1]
        k0, k1, k2 = K[number[e, 0]], K[number[e, 1]], K[number[e, 2]]
        for q in range(len(x)):
            t = x[q]
            _far_points(
                r0 + t * (r1 + t * r2), z0 + t * (z1 + t * z2), r1 + 2.0 * t * r2, z1 + 2.0 * t * z2, t, w[q],
                at_r, at_z, mask, v0, v1, k0, k1, k2,
            )  # fmt: skip
        for i in range(n):
            if mask[i] == 0.0:
                out[:] = 0.0
                if itself and i // 2 == e:
                    _own_edge(at_r[i], p, (2.0 * (i % 2) - 1.0) / ROOT3, out)
                else:
                    _near_edge(at_r[i], at_z[i], p, length, stack, out)
                v0[i] += out[0]
                v1[i] += out[1]
                k0[i] += out[2]
                k1[i] += out[3]
                k2[i] += out[4]


def blocks(at: Array, source: Skin, *, itself: bool = False) -> tuple[Array, Array]:
    """V (n, h unknowns) in m^2 and K (n, A unknowns) in m at the points `at` (n, 2), r >= 0.

    `itself` says that `at` are the collocation points of `source` (each sits on its own edge).
    """
    V = np.zeros((source.n_field, len(at)))
    K = np.zeros((source.n_potential + 1, len(at)))
    r, z = np.ascontiguousarray(at.T)
    _assemble(r, z, itself, source.points, source.number, V, K)
    return V.T, K[:-1].T
