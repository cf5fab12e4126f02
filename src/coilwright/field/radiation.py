"""B anywhere outside the bodies, from the sources on their skins.

A skin stands for its body by ring currents -h and ring magnetic charges B_n (Stratton & Chu, Phys. Rev. 56 (1939) 99, the
surface-source representation; from memory), so that no kernel is more singular than 1/distance.
"""

from __future__ import annotations

import math

import numpy as np

from coilwright.field.compiled import compiled
from coilwright.field.exterior import FAR, MU0, ROOT3, edge_polynomial
from coilwright.field.ring import ring_fields
from coilwright.field.skin import ComplexArray, Skin
from coilwright.section.quad9 import Array, gauss

_X4, _W4 = (a.copy() for a in gauss(4))
_X8, _W8 = (a.copy() for a in gauss(8))


@compiled
def _source(p: Array, t: float, w: float, h: ComplexArray, a: ComplexArray) -> tuple[float, float, complex, complex]:
    """(r, z, mu0 x ring current, ring charge) of one quadrature point of an edge."""
    r0, r1, r2, z0, z1, z2 = edge_polynomial(p)
    r, z = r0 + t * (r1 + t * r2), z0 + t * (z1 + t * z2)
    tr, tz = r1 + 2.0 * t * r2, z1 + 2.0 * t * z2
    here = 0.5 * (h[0] * (1.0 - ROOT3 * t) + h[1] * (1.0 + ROOT3 * t))
    a_here = 0.5 * t * (t - 1.0) * a[0] + (1.0 - t * t) * a[1] + 0.5 * t * (t + 1.0) * a[2]
    slope = (t - 0.5) * a[0] - 2.0 * t * a[1] + (t + 0.5) * a[2]
    # B_n ds = -(1/r) d(r A)/dt dt
    return r, z, -MU0 * here * math.sqrt(tr * tr + tz * tz) * w, -(tr * a_here / r + slope) * w


@compiled
def _near(
    rp: float, zp: float, p: Array, length: float, h: ComplexArray, a: ComplexArray, stack: Array
) -> tuple[complex, complex]:
    """B_r, B_z of one edge close by: bisect, eight points each."""
    r0, r1, r2, z0, z1, z2 = edge_polynomial(p)
    br, bz = 0j, 0j
    count = 1
    stack[0, 0], stack[0, 1] = 0.0, 1.0
    while count > 0:
        count -= 1
        middle, half = stack[count, 0], stack[count, 1]
        away = math.hypot(r0 + middle * (r1 + middle * r2) - rp, z0 + middle * (z1 + middle * z2) - zp)
        if away < 1.5 * half * length and half > 1e-6 and count < 60:
            stack[count, 0], stack[count, 1] = middle - 0.5 * half, 0.5 * half
            stack[count + 1, 0], stack[count + 1, 1] = middle + 0.5 * half, 0.5 * half
            count += 2
            continue
        for q in range(8):
            r, z, current, charge = _source(p, middle + half * _X8[q], half * _W8[q], h, a)
            b_r, b_z, c_r, c_z = ring_fields(rp, zp, r, z)
            br += current * b_r + charge * c_r
            bz += current * b_z + charge * c_z
    return br, bz


@compiled
def _far(
    a: float, za: float, current: complex, charge: complex, at_r: Array, at_z: Array, mask: Array,
    br_re: Array, br_im: Array, bz_re: Array, bz_im: Array,
) -> None:  # fmt: skip
    """One ring's share to all far points at once: `ring_fields` with four AGM steps and no branch. c and S are carried
    over r as well, so that the axis is no special case. Full accuracy for d/D > 1e-3."""
    i_re, i_im = current.real / (2.0 * math.pi), current.imag / (2.0 * math.pi)
    q_re, q_im = charge.real / (2.0 * math.pi), charge.imag / (2.0 * math.pi)
    for i in range(at_r.shape[0]):
        r = at_r[i]
        dr, dz = r - a, at_z[i] - za
        far2 = (r + a) * (r + a) + dz * dz
        near2 = dr * dr + dz * dz
        per_far2, per_near2 = 1.0 / far2, 1.0 / near2
        kp2 = near2 * per_far2
        kp = math.sqrt(kp2)
        kk_r = 4.0 * a * per_far2
        kk = kk_r * r
        mean, geometric = 0.5 * (1.0 + kp), math.sqrt(kp)
        c_r = 0.25 * kk_r / mean
        c = c_r * r
        S_r = c * c_r
        f = 0.5 * (mean + geometric)
        g = 0.25 * c / f
        c, c_r = g * c, g * c_r
        S_r += 2.0 * c * c_r
        geometric = math.sqrt(mean * geometric)
        mean = f
        f = 0.5 * (mean + geometric)
        g = 0.25 * c / f
        c, c_r = g * c, g * c_r
        S_r += 4.0 * c * c_r
        geometric = math.sqrt(mean * geometric)
        mean = f
        f = 0.5 * (mean + geometric)
        g = 0.25 * c / f
        c, c_r = g * c, g * c_r
        S_r += 8.0 * c * c_r
        geometric = math.sqrt(mean * geometric)
        mean = f
        f = 0.5 * (mean + geometric)
        g = 0.25 * c / f
        c, c_r = g * c, g * c_r
        S_r += 16.0 * c * c_r
        K = 0.5 * math.pi / (f - 0.25 * c * c / f) * mask[i] / math.sqrt(far2)  # K / D
        E = K * (1.0 - 0.5 * kk - S_r * r) * per_near2  # E / (D d^2)
        b_r = 0.25 * dz * K / kp2 * (kk * kk_r - 2.0 * (1.0 + kp2) * S_r)
        b_z = K - (dr * (r + a) + dz * dz) * E
        q_r = a * (K * (2.0 * a * per_far2 + S_r) + 2.0 * dr * E)
        q_z = 2.0 * a * dz * E
        br_re[i] += i_re * b_r + q_re * q_r
        br_im[i] += i_im * b_r + q_im * q_r
        bz_re[i] += i_re * b_z + q_re * q_z
        bz_im[i] += i_im * b_z + q_im * q_z


@compiled
def _radiate(at_r: Array, at_z: Array, points: Array, h: ComplexArray, a: ComplexArray, out: Array) -> None:
    """`out` (4, n): real and imaginary parts of B_r and B_z."""
    stack = np.empty((64, 2))
    n = at_r.shape[0]
    mask = np.empty(n)
    for e in range(points.shape[0]):
        p = points[e]
        length = math.hypot(p[2, 0] - p[0, 0], p[2, 1] - p[0, 1])
        he = h[2 * e : 2 * e + 2]
        for i in range(n):
            away2 = (at_r[i] - p[1, 0]) ** 2 + (at_z[i] - p[1, 1]) ** 2
            far = away2 > (FAR * length) ** 2 and away2 > 1e-5 * (at_r[i] + p[1, 0]) ** 2
            mask[i] = 1.0 if far else 0.0
        for q in range(4):
            r, z, current, charge = _source(p, _X4[q], _W4[q], he, a[e])
            _far(r, z, current, charge, at_r, at_z, mask, out[0], out[1], out[2], out[3])
        for i in range(n):
            if mask[i] == 0.0:
                br, bz = _near(at_r[i], at_z[i], p, length, he, a[e], stack)
                out[0, i] += br.real
                out[1, i] += br.imag
                out[2, i] += bz.real
                out[3, i] += bz.imag


def flux_density(at: Array, source: Skin, h: ComplexArray, potential: ComplexArray) -> ComplexArray:
    """(n, 2) B_r, B_z (T rms) at points (n, 2) outside, from h (A/m) and A (Wb/m, k boundary nodes) of one skin."""
    out = np.zeros((4, len(at)))
    at_edges = np.where(source.number >= 0, potential[np.maximum(source.number, 0)], 0.0).astype(complex)
    r, z = np.ascontiguousarray(np.asarray(at, dtype=float).T)
    _radiate(r, z, source.points, np.ascontiguousarray(h), np.ascontiguousarray(at_edges), out)
    return np.column_stack([out[0] + 1j * out[1], out[2] + 1j * out[3]])
