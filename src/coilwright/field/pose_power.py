"""Power of many poses, or of one asked often: from the coil's rings to watts in one compiled pass per pose.

Only what the power needs is kept of the field: the mean of r A_phi for m = 0, and H_phi for m >= 1 (phi_m = r H_phi,m / im).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coilwright.field.compiled import compiled
from coilwright.field.exterior import MU0
from coilwright.field.pose_incident import Rings, add_ring, azimuth_count, frames, look_round, place_points
from coilwright.field.skin import ComplexArray
from coilwright.section.quad9 import Array, BoolArray


@dataclass(frozen=True, eq=False)
class Forms:
    """Hermitian forms of every harmonic 0..M, real and imaginary part apart: (M + 1, 2b, 2b) each. Only harmonic 0 has an
    imaginary part."""

    real: Array
    imaginary: Array

    @staticmethod
    def of(forms: Sequence[ComplexArray]) -> Forms:
        square = np.array([0.5 * (q + q.conj().T) for q in forms])
        return Forms(np.ascontiguousarray(square.real), np.ascontiguousarray(square.imag[0]))


@compiled
def _form_value(real: Array, imaginary: Array, with_imaginary: bool, u: Array, v: Array, a: Array, b: Array) -> float:
    """phi^H Q phi of phi = u + iv and Q = real + i imaginary; `a`, `b` (n,) are room to work in."""
    n = u.shape[0]
    a[:] = 0.0
    b[:] = 0.0
    for j in range(n):
        uj, vj = u[j], v[j]
        for i in range(n):
            a[i] += real[j, i] * uj
            b[i] += real[j, i] * vj
        if with_imaginary:
            for i in range(n):
                a[i] += imaginary[j, i] * vj
                b[i] -= imaginary[j, i] * uj
    total = 0.0
    for i in range(n):
        total += u[i] * a[i] + v[i] * b[i]
    return total


@compiled
def _powers(
    at: Array, start: Array, mirrored: BoolArray, turns: Array, shift: Array, pivot: Array, radius: Array, height: Array,
    current: Array, count: int, forms: Array, imaginary: Array, out: Array,
) -> None:  # fmt: skip
    """out (poses, M + 1): W per A^2; harmonics +m and -m together. `current` (2, rings) real and imaginary."""
    n, modes = at.shape[0], out.shape[1] - 1
    cosine, sine = np.empty(count), np.empty(count)
    x, y, up, rho = np.empty(n * count), np.empty(n * count), np.empty(n * count), np.empty(n * count)
    sums = np.empty((6, n * count))
    mean, spectrum = np.empty((2, n)), np.empty((modes, 4, n))
    a, b = np.empty(n), np.empty(n)
    for p in range(turns.shape[0]):
        R = turns[p]
        few = count // 2 + 1 if mirrored[p] else count
        look_round(start[p], cosine, sine)
        place_points(at, R, shift[p], pivot[p], cosine[:few], sine[:few], x, y, up, rho)
        used = n * few
        sums[:, :used] = 0.0
        for k in range(radius.shape[0]):
            add_ring(rho[:used], up[:used], radius[k], height[k], current[0, k], current[1, k], sums)
        mean[:] = 0.0
        spectrum[:] = 0.0
        for k in range(few):
            c, s = cosine[k], sine[k]
            twice = 2.0 if mirrored[p] and 0 < k < count - k else 1.0
            nf = c * R[1, 2] - s * R[0, 2]
            for i in range(n):
                j = i * few + k
                per = 1.0 / (rho[j] * rho[j])
                fx, fy = R[0, 1] * x[j] - R[0, 0] * y[j], R[1, 1] * x[j] - R[1, 0] * y[j]
                hx, hy = R[0, 0] * x[j] + R[0, 1] * y[j], R[1, 0] * x[j] + R[1, 1] * y[j]
                along, onward = twice * (c * fy - s * fx) * per, (c * hy - s * hx) * per
                mean[0, i] += sums[0, j] * along
                mean[1, i] += sums[1, j] * along
                # the room of the sums takes H_phi, real and imaginary
                sums[2, j] = sums[2, j] * onward + sums[4, j] * nf
                sums[3, j] = sums[3, j] * onward + sums[5, j] * nf
            for m in range(1, modes + 1):
                turn = 2.0 * math.pi * m * k / count
                cm, sm = (0.0 if mirrored[p] else math.cos(turn)), twice * math.sin(turn)
                for i in range(n):
                    real, imag = sums[2, i * few + k], sums[3, i * few + k]
                    spectrum[m - 1, 0, i] += real * cm
                    spectrum[m - 1, 1, i] += real * sm
                    spectrum[m - 1, 2, i] += imag * cm
                    spectrum[m - 1, 3, i] += imag * sm
        scale = MU0 / count
        for i in range(n):
            mean[0, i] *= at[i, 0] * scale
            mean[1, i] *= at[i, 0] * scale
        out[p, 0] = _form_value(forms[0], imaginary, True, mean[0], mean[1], a, b)
        for m in range(1, modes + 1):
            # +m and -m: (C -+ iS) of a real part and an imaginary one; together twice the forms of C and of S by themselves
            total = 0.0
            for part in range(4):
                for i in range(n):
                    spectrum[m - 1, part, i] *= at[i, 0] / (count * m)
            total += _form_value(forms[m], imaginary, False, spectrum[m - 1, 0], spectrum[m - 1, 2], a, b)
            total += _form_value(forms[m], imaginary, False, spectrum[m - 1, 1], spectrum[m - 1, 3], a, b)
            out[p, m] = 2.0 * total


def pose_powers(rings: Rings, at: Array, rows: Array, forms: Forms) -> Array:
    """(p, M + 1) W per A^2 of coil current, by harmonic, for pose rows (p, 6); `at` (2b, 2): the points on the skin."""
    modes = len(forms.real) - 1
    turns, start, mirrored = frames(rows)
    out = np.empty((len(rows), modes + 1))
    _powers(
        at, start, mirrored, turns, np.ascontiguousarray(rows[:, :3]), np.ascontiguousarray(rows[:, 5]),
        rings.radius, rings.z, rings.parts, azimuth_count(modes), forms.real, forms.imaginary, out,
    )  # fmt: skip
    return out
