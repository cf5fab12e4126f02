"""Compiled loops over elements: system matrices, and flux density, residual and slope of saturating bodies.

Arrays as in `interior`: quads (e, 9), curl and d_z (e, 9, q), ring (e, q). B_r = -sum A dzN, B_z = sum A curlN.
"""

from __future__ import annotations

import math

import numpy as np

from coilwright.field.compiled import compiled, compiled_loosely
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
    count = peak.shape[1]
    zr, zi, rr, ri = np.empty(count), np.empty(count), np.empty(count), np.empty(count)
    for e in range(quads.shape[0]):
        zr[:], zi[:], rr[:], ri[:] = 0.0, 0.0, 0.0, 0.0
        for i in range(9):  # Gauss points within: neighbours in memory, taken several at once
            re, im = nodal[quads[e, i]].real, nodal[quads[e, i]].imag
            for q in range(count):
                zr[q] += re * curl[e, i, q]
                zi[q] += im * curl[e, i, q]
                rr[q] -= re * d_z[e, i, q]
                ri[q] -= im * d_z[e, i, q]
        for q in range(count):
            b_z[e, q] = complex(zr[q], zi[q])
            b_r[e, q] = complex(rr[q], ri[q])
            peak[e, q] = math.sqrt(2.0 * (zr[q] * zr[q] + zi[q] * zi[q] + rr[q] * rr[q] + ri[q] * ri[q]))


@compiled_loosely
def stiffness_times(
    b_r: ComplexArray, b_z: ComplexArray, nu: Array, quads: IntArray, curl: Array, d_z: Array, ring: Array,
    out: ComplexArray,
) -> None:  # fmt: skip
    """out (n,) += int nu (curl N B_z - dz N B_r) r dr dz: the stiffness matrix times A without the matrix."""
    count = ring.shape[1]
    zr, zi, rr, ri = np.empty(count), np.empty(count), np.empty(count), np.empty(count)
    for e in range(quads.shape[0]):
        for q in range(count):
            w = nu[e, q] * ring[e, q]
            zr[q], zi[q] = w * b_z[e, q].real, w * b_z[e, q].imag
            rr[q], ri[q] = w * b_r[e, q].real, w * b_r[e, q].imag
        for i in range(9):
            re, im = 0.0, 0.0
            for q in range(count):
                re += curl[e, i, q] * zr[q] - d_z[e, i, q] * rr[q]
                im += curl[e, i, q] * zi[q] - d_z[e, i, q] * ri[q]
            out[quads[e, i]] += complex(re, im)


@compiled
def jacobian_entries(
    b_r: ComplexArray, b_z: ComplexArray, nu: Array, slope: Array, curl: Array, d_z: Array, ring: Array,
    slots: IntArray, out: ComplexArray,
) -> None:  # fmt: skip
    """out[slots] += of the derivative of the stiffness times A the part that is linear in A, int nu (curlN curlN' + dzN dzN')
    + slope/2 p p'* r dr dz with p = B_z curlN - B_r dzN; what is linear in the conjugate of A is left out.

    `slope` (e, q) is 2 (d nu / d|B|peak) / |B|peak; slots (e, 81), -1 on the axis.
    """
    c, d, p = np.empty(9), np.empty(9), np.empty(9, dtype=np.complex128)
    sums = np.empty((9, 9), dtype=np.complex128)
    for e in range(ring.shape[0]):
        sums[:] = 0.0
        for q in range(ring.shape[1]):
            for i in range(9):
                c[i], d[i] = curl[e, i, q], d_z[e, i, q]
                p[i] = b_z[e, q] * c[i] - b_r[e, q] * d[i]
            w, s = nu[e, q] * ring[e, q], 0.5 * slope[e, q] * ring[e, q]
            for i in range(9):
                wc, wd, sp = w * c[i], w * d[i], s * p[i]
                for j in range(i + 1):
                    sums[i, j] += wc * c[j] + wd * d[j] + sp * p[j].conjugate()
        for i in range(9):
            for j in range(i):
                sums[j, i] = sums[i, j].conjugate()
        for i in range(9):
            for j in range(9):
                if slots[e, 9 * i + j] >= 0:
                    out[slots[e, 9 * i + j]] += sums[i, j]
