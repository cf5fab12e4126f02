"""Harmonics m >= 1 of a part whose skin depth is small against it, by its surface impedance alone.

Instead of finite elements inside: (Zs / jw) closed int (psi_s v_s + m^2 psi v / r^2) r ds = mu0 closed int q v r ds,
Zs = (1 + j) / (sigma delta) of a half-space, no correction for curvature (it made corners worse).
"""

from __future__ import annotations

import numpy as np

from coilwright.field.exterior import MU0
from coilwright.field.interior import Interior
from coilwright.field.skin import ComplexArray
from coilwright.section.quad9 import Array, gauss, line_shape, line_slope

# Smallest size over skin depth from which on the loss of the harmonics is right to about 3 per cent.
THIN_ENOUGH = 15.0


def surface_impedance(inside: Interior, sigma: Array, nu: Array, omega: float) -> tuple[ComplexArray, Array]:
    """Zs (ohm) and skin depth (m) of every edge of the skin, from the element behind it; both (b,)."""
    behind = inside.mesh.boundary.element
    s, mu = sigma[behind].mean(axis=1), 1.0 / nu[behind].mean(axis=1)
    depth = np.sqrt(2.0 / (omega * mu * s))
    return np.asarray((1.0 + 1.0j) / (s * depth), dtype=np.complex128), np.asarray(depth)


def skin_response(inside: Interior, impedance: ComplexArray, m: int, omega: float) -> ComplexArray:
    """(k, 2b): psi at the skin's nodes from q."""
    skin = inside.skin
    x, w = gauss(6)
    shape, slope = line_shape(x), line_slope(x)
    r = skin.points[:, :, 0] @ shape
    length = np.hypot(skin.points[:, :, 0] @ slope, skin.points[:, :, 1] @ slope)
    along = np.einsum("iq,jq,eq->eij", slope, slope, r / length * w)
    around = np.einsum("iq,jq,eq->eij", shape, shape, m * m / r * length * w)
    local = (along + around) * (impedance / (1j * omega))[:, None, None]
    k = skin.n_potential
    matrix = np.zeros((k + 1, k + 1), dtype=np.complex128)
    np.add.at(matrix, (skin.number[:, :, None], skin.number[:, None, :]), local)
    return np.asarray(np.linalg.solve(matrix[:-1, :-1], MU0 * skin.mass.toarray()))
