"""A sparse system of fixed pattern: ordering and slots found once, then only numbers change."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias, TypeVar

import numpy as np
import scipy.sparse as sp
import scipy.sparse.linalg as spl
from numpy.typing import NDArray

from coilwright.section.quad9 import Array, IntArray

ComplexArray: TypeAlias = NDArray[np.complex128]
_Number = TypeVar("_Number", np.float64, np.complex128)
Sparse: TypeAlias = Any  # scipy's sparse classes carry no usable types yet

_NATURAL = {"SymmetricMode": True}


@dataclass(frozen=True, eq=False)
class Pattern:
    """`slot[k]` is where entry k of the given (row, column) list adds up; unknown i stands at place `order[i]`."""

    size: int
    order: IntArray
    slot: IntArray
    indices: IntArray
    indptr: IntArray

    @property
    def entries(self) -> int:
        return len(self.indices)

    def add_up(self, values: Array, first: int = 0) -> Array:
        """(entries,) sums of the real `values` of list entries first, first + 1, ..."""
        return np.bincount(self.slot[first : first + len(values)], values, minlength=self.entries).astype(float)

    def matrix(self, data: Array | ComplexArray) -> Sparse:
        return sp.csc_matrix((data, self.indices, self.indptr), (self.size, self.size))

    def factor(self, data: Array | ComplexArray) -> Sparse:
        """LU of the ordered matrix; solve with `solve`."""
        return _lu(self.matrix(data))

    def single_factor(self, data: ComplexArray) -> Sparse:
        """The same in single precision; solve with `single_solve`."""
        return _lu(self.matrix(data).astype(np.complex64))

    def single_solve(self, factor: Sparse, rhs: ComplexArray) -> ComplexArray:
        """Solution to about 1e-6 of its norm (own runs), whatever the size of `rhs`."""
        scale = max(float(np.abs(rhs).max(initial=0.0)), 1e-300)
        ordered = np.empty(rhs.shape, dtype=np.complex64)
        ordered[self.order] = rhs / scale
        out: ComplexArray = scale * factor.solve(ordered)[self.order].astype(complex)
        return out

    def solve(self, factor: Sparse, rhs: NDArray[_Number]) -> NDArray[_Number]:
        """For (size,) or (size, k), in the caller's numbering."""
        ordered = np.empty(rhs.shape, dtype=rhs.dtype, order="F")
        ordered[self.order] = rhs
        out: NDArray[_Number] = factor.solve(ordered)[self.order]
        return out

    def product(self, matrix: Sparse, x: ComplexArray) -> ComplexArray:
        """`matrix` times x, both in the caller's numbering."""
        ordered = np.empty_like(x)
        ordered[self.order] = x
        out: ComplexArray = (matrix @ ordered)[self.order]
        return out


def _lu(matrix: Sparse) -> Sparse:
    """In the order as given; small supernodes are the quicker ones here (own runs)."""
    return spl.splu(matrix, permc_spec="NATURAL", options=_NATURAL, diag_pivot_thresh=0.0, relax=8, panel_size=8)


def pattern_of(size: int, row: IntArray, column: IntArray) -> Pattern:
    """Find a fill-reducing ordering (minimum degree) of the symmetric pattern and the slots of its entries."""
    trial = sp.csc_matrix((np.ones(len(row)), (row, column)), (size, size))
    trial.setdiag(1e3 * size)
    factor = spl.splu(trial.tocsc(), permc_spec="MMD_AT_PLUS_A", options=_NATURAL, diag_pivot_thresh=0.0)
    order = factor.perm_c.astype(np.int64)
    key = order[column] * size + order[row]
    unique, slot = np.unique(key, return_inverse=True)
    indptr = np.searchsorted(unique, np.arange(size + 1) * size)
    return Pattern(size, order, slot.ravel(), (unique % size).astype(np.int32), indptr.astype(np.int32))
