"""Residual and matrix of one implicit stage, assembled over all elements or over one half of what is its own image."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import scipy.linalg as sl
import scipy.sparse as sp

from coilwright.heat import kernels as compiled
from coilwright.heat.halves import Half
from coilwright.heat.surfaces import Edges
from coilwright.heat.tables import LOWEST, STEP, Tables
from coilwright.section.pattern import Pattern, Sparse, pattern_of
from coilwright.section.quad9 import Array, IntArray

GRID = (LOWEST, STEP)
kernels: Any = compiled  # numba's dispatchers carry no signature a type checker could follow


@dataclass(frozen=True, eq=False)
class Elements:
    """Nodes (e, 9), shape functions (q, 9), their slopes (e, q, 9), weights 2 pi r dr dz (e, q) and region (e,)."""

    quads: IntArray
    shape: Array
    d_r: Array
    d_z: Array
    weight: Array
    kind: IntArray

    def some(self, rows: IntArray, share: Array) -> Elements:
        """Those in `rows`, their weights by `share` (e', 1)."""
        return Elements(
            self.quads[rows], self.shape, self.d_r[rows], self.d_z[rows], self.weight[rows] * share, self.kind[rows]
        )


@dataclass(frozen=True, eq=False)
class Residual:
    """Of one stage: `nodal` (n,) J, `held` J/m^3 at the Gauss points looked at, `radiated` (regions,) net W."""

    nodal: Array
    held: Array
    radiated: Array
    half: Half | None = None

    @cached_property
    def enthalpy(self) -> Array:
        """(e, q) J/m^3."""
        return self.held if self.half is None else self.half.everywhere(self.held)


@dataclass(frozen=True, eq=False)
class Factor:
    """LU of the stage matrix of a `pattern`, of one unknown a pair when there is a `half`; `spread` and `inner` add the
    coupling between distant places."""

    g: float
    lu: Sparse
    pattern: Pattern
    half: Half | None = None
    gather: Array | None = None
    spread: Array | None = None
    inner: Array | None = None

    def solve(self, residual: Array) -> Array:
        """Newton step (K) for a nodal residual (J)."""
        step = self._near(residual)
        if self.spread is None or self.gather is None:
            return step
        return np.asarray(step + self.spread @ sl.lu_solve(self._inner_lu, self.gather @ step))

    @cached_property
    def _inner_lu(self) -> Any:
        assert self.inner is not None  # noqa: S101  # given with `spread`
        return sl.lu_factor(self.inner)

    def _near(self, residual: Array) -> Array:
        if self.half is None:
            return self.pattern.solve(self.lu, residual)
        return np.asarray(self.pattern.solve(self.lu, self.half.gathered(residual))[self.half.number])

    def with_far(self, take: Array, gather: Array) -> Factor:
        """The same with the far values' own reaction: matrix - take @ gather (Woodbury identity)."""
        spread = self._near(take)
        return replace(self, gather=gather, spread=spread, inner=np.eye(len(gather)) - gather @ spread)

    def with_far_of(self, earlier: Factor) -> Factor:
        """The same with the far values' reaction as an earlier factor had it, scaled to the step of this one: it wanders
        slowly, and costs more to make anew than the factor itself."""
        if earlier.spread is None or earlier.gather is None or earlier.inner is None:
            return self
        if earlier.g == self.g:
            return replace(self, gather=earlier.gather, spread=earlier.spread, inner=earlier.inner)
        share, one = self.g / earlier.g, np.eye(len(earlier.gather))
        inner = one + share * (earlier.inner - one)
        return replace(self, gather=earlier.gather, spread=share * earlier.spread, inner=inner)


class Assembly:
    """The compiled loops with their arrays and the slots of the matrix, found once. `linear` (n, n) W/K is all that leaves in
    proportion to the temperature; in the residual it is the caller's, who has it for the whole."""

    def __init__(
        self,
        elements: Elements,
        edges: Edges,
        of_edge: IntArray,
        tables: Tables,
        linear: sp.csc_array,
        half: Half | None = None,
    ) -> None:
        self.half, self._nodes, self._regions = half, linear.shape[0], len(tables.enthalpy)
        if half is not None:
            elements, of_edge = elements.some(half.elements, half.element_share), of_edge[half.edges]
            edges = edges.some(half.edges, half.edge_share)
        e, t = elements, tables
        self.surface = edges.nodes, edges.line, edges.weight, edges.region, of_edge, *GRID, t.emission, t.emissivity
        self._volume = e.quads, e.shape, e.d_r, e.d_z, e.weight, e.kind, *GRID, t.enthalpy, t.conductivity
        self._shape = e.weight.shape
        self._find_slots(e.quads, edges.nodes, linear.tocoo())

    def _find_slots(self, quads: IntArray, edges: IntArray, linear: sp.coo_array) -> None:
        half = self.half
        number = np.arange(self._nodes) if half is None else half.number
        rows = np.tile(quads, (1, 9)).ravel(), np.tile(edges, (1, 3)).ravel(), linear.row
        columns = np.repeat(quads, 9, axis=1).ravel(), np.repeat(edges, 3, axis=1).ravel(), linear.col
        count = self._nodes if half is None else len(half.one)
        self._pattern = pattern_of(count, number[np.concatenate(rows)], number[np.concatenate(columns)])
        slot, ne, nb = self._pattern.slot, len(quads) * 81, len(edges) * 9
        self._volume_slot = slot[:ne].reshape(-1, 81)
        self._surface_slot = slot[ne : ne + nb].reshape(-1, 9)
        share = 1.0 if half is None else 0.5
        self._linear_values = share * self._pattern.add_up(linear.data, ne + nb)

    def looked_at(self, values: Array) -> Array:
        """Of (e, q) values those on the elements looked at."""
        return values if self.half is None else values[self.half.elements]

    def residual(self, temperature: Array, base: Array, g: float, arriving: Array) -> Residual:
        """Residual (J) of a stage with base enthalpy and source in `base` J/m^3, where it is looked at, without what leaks."""
        half = self.half
        out, held, radiated = np.zeros(self._nodes), np.empty(self._shape), np.zeros(self._regions)
        kernels.volume_residual(temperature, *self._volume, base, g, out, held)
        kernels.surface_residual(temperature, *self.surface, arriving, g, out, radiated)
        if half is None:
            return Residual(out, held, radiated)
        return Residual(half.on_both_sides(out), held, 2.0 * radiated, half)

    def factor(self, temperature: Array, last: Array, g: float, arriving: Array) -> Factor:
        """Factorised stage matrix at a temperature, what arrives from afar held."""
        data = g * self._linear_values
        kernels.volume_jacobian(temperature, last, *self._volume, g, self._volume_slot, data)
        kernels.surface_jacobian(temperature, *self.surface, arriving, g, self._surface_slot, data)
        return Factor(g, self._pattern.factor(data), self._pattern, self.half)

