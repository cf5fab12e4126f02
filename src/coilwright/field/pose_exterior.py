"""Boundary integrals of harmonic m >= 1 of the magnetic potential outside the bodies (H = grad psi e^{im phi}).

For a point x on a skin:   psi/2 - K_m psi + V_m q = potential of the sources,   q = outward normal H,
    V_m = integral of G_m phi(x') r' ds',   K_m = integral of d_n' G_m N(x') r' ds',   G_m = Q_{m-1/2} / (2 pi sqrt(r r')).
Same skin, same unknowns, same collocation points as for m = 0 (`exterior`).
"""

from __future__ import annotations

import math

import numpy as np

from coilwright.field.compiled import compiled
from coilwright.field.exterior import FAR, ROOT3, edge_polynomial
from coilwright.field.pose_kernel import ring_harmonics
from coilwright.field.skin import Skin
from coilwright.section.quad9 import Array, IntArray, gauss

_X4, _W4 = (a.copy() for a in gauss(4))
_X8, _W8 = (a.copy() for a in gauss(8))
_X12, _W12 = (a.copy() for a in gauss(12))


@compiled
def _add_sample(
    rc: float, dr: float, dz: float, tr: float, tz: float, t: float, w: float, q: Array, dq: Array, out: Array
) -> None:
    """One quadrature point's share of (V0, V1, K0, K1, K2) for m = 1..len(out); source minus target is (dr, dz)."""
    r = rc + dr
    x = (dr * dr + dz * dz) / (2.0 * r * rc)
    modes = out.shape[0]
    ring_harmonics(x, modes, q, dq)
    c = w * r / (2.0 * math.pi * math.sqrt(r * rc))
    length = math.sqrt(tr * tr + tz * tz)
    slope = (tz * (dr / (r * rc) - x / r) - tr * dz / (r * rc)) * c
    shrink = -0.5 * tz * c / r
    for m in range(1, modes + 1):
        v = q[m] * length * c
        k = dq[m] * slope + q[m] * shrink
        out[m - 1, 0] += 0.5 * v * (1.0 - ROOT3 * t)
        out[m - 1, 1] += 0.5 * v * (1.0 + ROOT3 * t)
        out[m - 1, 2] += 0.5 * k * t * (t - 1.0)
        out[m - 1, 3] += k * (1.0 - t * t)
        out[m - 1, 4] += 0.5 * k * t * (t + 1.0)


@compiled
def _add_own(rc: float, p: Array, x0: float, q: Array, dq: Array, out: Array) -> None:
    """The edge the collocation point sits on: x = x0 + L u^4 on either side, differences formed exactly."""
    _, r1, r2, _, z1, z2 = edge_polynomial(p)
    ar, az = r1 + 2.0 * x0 * r2, z1 + 2.0 * x0 * z2
    for side in (-1.0, 1.0):
        reach = 1.0 - side * x0
        for k in range(12):
            u = 0.5 * (1.0 + _X12[k])
            dx = side * reach * u**4
            w = 2.0 * _W12[k] * reach * u**3
            dr, dz = dx * (ar + dx * r2), dx * (az + dx * z2)
            _add_sample(rc, dr, dz, ar + 2.0 * dx * r2, az + 2.0 * dx * z2, x0 + dx, w, q, dq, out)


@compiled
def _add_piece(
    rc: float, zc: float, p: Array, middle: float, half: float, x: Array, w: Array, q: Array, dq: Array, out: Array
) -> None:
    r0, r1, r2, z0, z1, z2 = edge_polynomial(p)
    for k in range(len(x)):
        t = middle + half * x[k]
        dr, dz = r0 + t * (r1 + t * r2) - rc, z0 + t * (z1 + t * z2) - zc
        _add_sample(rc, dr, dz, r1 + 2.0 * t * r2, z1 + 2.0 * t * z2, t, half * w[k], q, dq, out)


@compiled
def _add_near(rc: float, zc: float, p: Array, length: float, stack: Array, q: Array, dq: Array, out: Array) -> None:
    """Bisect until a piece is farther than about half its length, then eight points."""
    r0, r1, r2, z0, z1, z2 = edge_polynomial(p)
    count = 1
    stack[0, 0], stack[0, 1] = 0.0, 1.0
    while count > 0:
        count -= 1
        middle, half = stack[count, 0], stack[count, 1]
        away = math.hypot(r0 + middle * (r1 + middle * r2) - rc, z0 + middle * (z1 + middle * z2) - zc)
        if away > 1.2 * half * length or half < 1e-7 or count > 60:
            _add_piece(rc, zc, p, middle, half, _X8, _W8, q, dq, out)
        else:
            stack[count, 0], stack[count, 1] = middle - 0.5 * half, 0.5 * half
            stack[count + 1, 0], stack[count + 1, 1] = middle + 0.5 * half, 0.5 * half
            count += 2


@compiled
def _assemble(at: Array, points: Array, number: IntArray, V: Array, K: Array) -> None:
    modes = V.shape[0]
    stack, out = np.empty((64, 2)), np.empty((modes, 5))
    q, dq = np.zeros(modes + 2), np.zeros(modes + 2)
    for i in range(at.shape[0]):
        rc, zc = at[i, 0], at[i, 1]
        for e in range(points.shape[0]):
            p = points[e]
            length = math.hypot(p[2, 0] - p[0, 0], p[2, 1] - p[0, 1])
            out[:] = 0.0
            if i // 2 == e:
                _add_own(rc, p, (2.0 * (i % 2) - 1.0) / ROOT3, q, dq, out)
            elif math.hypot(rc - p[1, 0], zc - p[1, 1]) > FAR * length:
                _add_piece(rc, zc, p, 0.0, 1.0, _X4, _W4, q, dq, out)
            else:
                _add_near(rc, zc, p, length, stack, q, dq, out)
            for m in range(modes):
                V[m, i, 2 * e] += out[m, 0]
                V[m, i, 2 * e + 1] += out[m, 1]
                for k in range(3):
                    K[m, i, number[e, k]] += out[m, 2 + k]


def harmonic_blocks(skin: Skin, modes: int) -> tuple[Array, Array]:
    """V (modes, 2b, 2b) in m and W = C/2 - K (modes, 2b, k), both of m = 1..modes, between the points of one skin."""
    n = skin.n_field
    V, K = np.zeros((modes, n, n)), np.zeros((modes, n, skin.n_potential + 1))
    _assemble(skin.collocation, skin.points, skin.number, V, K)
    value = skin.interpolation() / skin.collocation[:, :1]
    return V, 0.5 * value[None] - K[:, :, :-1]
