"""The nine-node quadrilateral (biquadratic Lagrange element): shape functions and Gauss tables.

Local node 3*j + i sits at (xi_i, eta_j) with xi, eta in {-1, 0, 1}. Field and heat share these very tables, so a loss
computed at a Gauss point enters the heat balance at the same point without transfer error.
Shape functions: e.g. Zienkiewicz, Taylor & Zhu, The Finite Element Method, 6th ed. (2005), section 4.6 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[np.float64]
IntArray: TypeAlias = NDArray[np.int64]
BoolArray: TypeAlias = NDArray[np.bool_]


def line_shape(x: Array) -> Array:
    """Quadratic shape functions of a three-node line at x in [-1, 1]; shape (3, *x.shape)."""
    return np.stack([0.5 * x * (x - 1.0), 1.0 - x * x, 0.5 * x * (x + 1.0)])


def line_slope(x: Array) -> Array:
    """Derivatives of `line_shape`; shape (3, *x.shape)."""
    return np.stack([x - 0.5, -2.0 * x, x + 0.5])


@lru_cache(maxsize=16)
def gauss(points: int) -> tuple[Array, Array]:
    """Abscissae and weights of the Gauss-Legendre rule on [-1, 1]."""
    x, w = np.polynomial.legendre.leggauss(points)
    x.setflags(write=False)
    w.setflags(write=False)
    return x, w


@dataclass(frozen=True, eq=False)
class QuadTable:
    """At the Gauss points of the reference square: `shape`, `d_xi`, `d_eta` are (9, q), `weight` is (q,)."""

    shape: Array
    d_xi: Array
    d_eta: Array
    weight: Array


@lru_cache(maxsize=4)
def quad_table(points: int = 4) -> QuadTable:
    """Tables for the `points` x `points` Gauss rule; 4 x 4 serves field and heat alike."""
    x, w = gauss(points)
    xi, eta = (a.ravel() for a in np.meshgrid(x, x, indexing="ij"))
    return QuadTable(*quad_shape(xi, eta), weight=np.outer(w, w).ravel())


def quad_shape(xi: Array, eta: Array) -> tuple[Array, Array, Array]:
    """(shape, d/dxi, d/deta), each (9, n), at n points of the reference square."""
    lx, ly, dx, dy = line_shape(xi), line_shape(eta), line_slope(xi), line_slope(eta)
    pairs = [(i, j) for j in range(3) for i in range(3)]
    return (
        np.stack([lx[i] * ly[j] for i, j in pairs]),
        np.stack([dx[i] * ly[j] for i, j in pairs]),
        np.stack([lx[i] * dy[j] for i, j in pairs]),
    )
