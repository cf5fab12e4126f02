"""Compiled loops over elements: system matrices, and flux density, residual and Jacobian of saturating bodies.

Arrays as in `interior`: quads (e, 9), curl and d_z (e, 9, q), ring (e, q). B_r = -sum A dzN, B_z = sum A curlN.
"""

from __future__ import annotations

import math

import numpy as np

from coilwright.field.compiled import compiled
from coilwright.field.skin import ComplexArray
from coilwright.section.quad9 import Array, IntArray


@compiled
def system_entries(
    nu: Array, sigma_omega: Array, curl: Array, d_z: Array, shape: Array, ring: Array, slots: IntArray,
    out: ComplexArray,
) -> None:  # fmt: skip
    """out[slots] += int nu (curlN curlN' + dzN dzN') + j w sigma N N', r dr dz; slots (e, 81), -1 on the axis.

    `sigma_omega` (e, q) is w sigma, `shape` (9, q) the shape functions.
    """
    c, d, n = np.empty(9), np.empty(9), np.empty(9)
    stiff, mass = np.empty((9, 9)), np.empty((9, 9))
    for e in range(ring.shape[0]):
        stiff[:], mass[:] = 0.0, 0.0
        for q in range(ring.shape[1]):
            for i in range(9):
                c[i], d[i], n[i] = curl[e, i, q], d_z[e, i, q], shape[i, q]
            w, s = nu[e, q] * ring[e, q], sigma_omega[e, q] * ring[e, q]
            for i in range(9):
                wc, wd, sn = w * c[i], w * d[i], s * n[i]
                for j in range(9):
                    stiff[i, j] += wc * c[j] + wd * d[j]
                    mass[i, j] += sn * n[j]
        for i in range(9):
            for j in range(9):
                k = slots[e, 9 * i + j]
                if k >= 0:
                    out[k] += complex(stiff[i, j], mass[i, j])


@compiled
def flux_density(
    nodal: ComplexArray, quads: IntArray, curl: Array, d_z: Array, b_r: ComplexArray, b_z: ComplexArray, peak: Array
) -> None:
    """b_r, b_z (e, q) in T rms from nodal A, and `peak` (e, q): sqrt(2) |B|."""
    for e in range(quads.shape[0]):
        for q in range(peak.shape[1]):
            zr, zi, rr, ri = 0.0, 0.0, 0.0, 0.0
            for i in range(9):
                a = nodal[quads[e, i]]
                zr += a.real * curl[e, i, q]
                zi += a.imag * curl[e, i, q]
                rr -= a.real * d_z[e, i, q]
                ri -= a.imag * d_z[e, i, q]
            b_z[e, q] = complex(zr, zi)
            b_r[e, q] = complex(rr, ri)
            peak[e, q] = math.sqrt(2.0 * (zr * zr + zi * zi + rr * rr + ri * ri))


@compiled
def stiffness_times(
    b_r: ComplexArray, b_z: ComplexArray, nu: Array, quads: IntArray, curl: Array, d_z: Array, ring: Array,
    out: ComplexArray,
) -> None:  # fmt: skip
    """out (n,) += int nu (curl N B_z - dz N B_r) r dr dz: the stiffness matrix times A without the matrix."""
    for e in range(quads.shape[0]):
        for i in range(9):
            re, im = 0.0, 0.0
            for q in range(ring.shape[1]):
                w = nu[e, q] * ring[e, q]
                c, d = w * curl[e, i, q], w * d_z[e, i, q]
                re += c * b_z[e, q].real - d * b_r[e, q].real
                im += c * b_z[e, q].imag - d * b_r[e, q].imag
            out[quads[e, i]] += complex(re, im)


@compiled
def jacobian_blocks(
    b_r: ComplexArray, b_z: ComplexArray, nu: Array, slope: Array, curl: Array, d_z: Array, ring: Array,
    slots: IntArray, out: Array,
) -> None:  # fmt: skip
    """out[slots] += derivative of the stiffness times A by real and imaginary parts of A.

    `slope` (e, q) is 2 (d nu / d|B|peak) / |B|peak. `slots` (e, 81, 4) for the blocks (re, re), (re, im), (im, re),
    (im, im); -1 where a node is on the axis.
    """
    c, d, x, y = np.empty(9), np.empty(9), np.empty(9), np.empty(9)
    plain, xx, xy, yy = np.empty((9, 9)), np.empty((9, 9)), np.empty((9, 9)), np.empty((9, 9))
    for e in range(ring.shape[0]):
        plain[:], xx[:], xy[:], yy[:] = 0.0, 0.0, 0.0, 0.0
        for q in range(ring.shape[1]):
            z, r = b_z[e, q], b_r[e, q]
            for i in range(9):
                c[i], d[i] = curl[e, i, q], d_z[e, i, q]
                x[i], y[i] = z.real * c[i] - r.real * d[i], z.imag * c[i] - r.imag * d[i]
            w, s = nu[e, q] * ring[e, q], slope[e, q] * ring[e, q]
            for i in range(9):
                wc, wd, sx, sy = w * c[i], w * d[i], s * x[i], s * y[i]
                for j in range(9):
                    plain[i, j] += wc * c[j] + wd * d[j]
                    xx[i, j] += sx * x[j]
                    xy[i, j] += sx * y[j]
                    yy[i, j] += sy * y[j]
        for i in range(9):
            for j in range(9):
                k = 9 * i + j
                if slots[e, k, 0] >= 0:
                    out[slots[e, k, 0]] += plain[i, j] + xx[i, j]
                    out[slots[e, k, 1]] += xy[i, j]
                    out[slots[e, k, 2]] += xy[j, i]
                    out[slots[e, k, 3]] += plain[i, j] + yy[i, j]
