"""Heat operators on nine-node quadrilaterals: residual and Jacobian of the enthalpy form, and what leaves the bodies.

For a nodal temperature T (K), with weights w = 2 pi r dr dz at the field's own Gauss points, one implicit stage is
    int (H_base + g q - H(T)) N dV - g [ int k grad T . grad N dV + leaks + radiated ] = 0,     g in s.
Everything linear in T besides conduction (convection, supports, joints, the near half of lumped contacts) is one
sparse matrix; radiation is taken at the surface Gauss points; what couples distant places (irradiation of patches,
mean temperatures across a lumped contact) is a short vector of far values.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import scipy.sparse as sp

from coilwright.errors import BadInput, Fault
from coilwright.heat.assembly import GRID, Assembly, Elements, Factor, Residual, kernels
from coilwright.heat.halves import Half, half_of
from coilwright.heat.inputs import ThermalModel
from coilwright.heat.radiation import Answer, Exchange, exchange_of, surfaces_see_each_other, vacuum_edges
from coilwright.heat.surfaces import Edges, Patches, edges_of, outer_edges, patches, split
from coilwright.heat.tables import build
from coilwright.section.quad9 import Array, BoolArray, IntArray

_NO_MEANS = np.zeros(0)


@dataclass(frozen=True, eq=False)
class Far:
    """Values felt from afar: `arriving` (p, bands) W/m^2 and the mean temperature (K) of every region."""

    arriving: Array
    means: Array


class Operators:
    """Assembles residuals and factors for one model. Holds no state of the computation."""

    def __init__(self, model: ThermalModel) -> None:
        self.model = model
        self.regions = model.in_mesh_order
        self.points, self.quads, self._joint = split(model.mesh, model.interfaces)
        self.kind: IntArray = np.asarray(model.mesh.region, dtype=np.int64)
        g = model.mesh.gauss
        self.shape = np.ascontiguousarray(g.shape.T)
        self.d_r = np.ascontiguousarray(g.d_r.transpose(0, 2, 1))
        self.d_z = np.ascontiguousarray(g.d_z.transpose(0, 2, 1))
        self.weight = 2.0 * np.pi * g.r * g.weight
        self._elements = Elements(self.quads, self.shape, self.d_r, self.d_z, self.weight, self.kind)
        self.tables = build(self.regions)
        self.edges: Edges = outer_edges(model.mesh, self.points, self.quads)
        self.patches: Patches = patches(self.edges, model.patches)
        self.vacuum: BoolArray = vacuum_edges(model, self.edges, self.patches)
        self.exchange: Exchange | None = self._exchange()
        self.volume = np.bincount(self.kind, self.weight.sum(1), len(self.regions))
        self.leaks = dict(self._leaks())
        self._linear = self._linear_matrix()

    @property
    def nodes(self) -> int:
        return len(self.points)

    def _exchange(self) -> Exchange | None:
        wanted = self.model.exchange
        if wanted is None:
            wanted = surfaces_see_each_other(self.edges, self.patches)
        return exchange_of(self.patches, self.tables, self.model.ambient, self.model.rays) if wanted else None

    # ---- what is linear in T
    def _leaks(self) -> Iterator[tuple[str, Array]]:
        """By kind: (n,) W/K, so that the loss is leak . (T - ambient)."""
        for kind, matrix in self._leak_matrices.items():
            yield kind, np.asarray(matrix.sum(axis=0), dtype=float).ravel()

    @cached_property
    def _leak_matrices(self) -> dict[str, sp.csc_array]:
        h = np.array([region.convection for region in self.regions])[self.edges.region] * ~self.vacuum
        support = np.array([region.support_conductance for region in self.regions]) / self.volume
        return {"convection": self._edge_matrix(self.edges, h), "support": self._mass_matrix(support)}

    def _edge_matrix(self, edges: Edges, per_area: Array) -> sp.csc_array:
        local = np.einsum("bq,qi,qj->bij", edges.weight * per_area[:, None], edges.line, edges.line)
        return self._scattered(edges.nodes, edges.nodes, local)

    def _mass_matrix(self, per_volume: Array) -> sp.csc_array:
        """int per_volume[region] N N'."""
        some = np.flatnonzero(per_volume[self.kind])
        values = self.weight[some] * per_volume[self.kind[some]][:, None]
        local = np.einsum("eq,qi,qj->eij", values, self.shape, self.shape)
        return self._scattered(self.quads[some], self.quads[some], local)

    def _scattered(self, rows: IntArray, columns: IntArray, local: Array) -> sp.csc_array:
        n, k = self.nodes, rows.shape[1]
        at = (np.repeat(rows, k, axis=1).ravel(), np.tile(columns, (1, k)).ravel())
        return sp.csc_array((local.ravel(), at), shape=(n, n))

    def _linear_matrix(self) -> sp.csc_array:
        total = sum(self._leak_matrices.values(), start=sp.csc_array((self.nodes, self.nodes)))
        joint = self._joint
        if len(joint.conductance):
            edges = edges_of(self.points, joint.one, np.zeros(len(joint.one), dtype=np.int64))
            local = np.einsum("bq,qi,qj->bij", edges.weight * joint.conductance[:, None], edges.line, edges.line)
            for a, b, sign in ((joint.one, joint.one, 1), (joint.other, joint.other, 1),
                               (joint.one, joint.other, -1), (joint.other, joint.one, -1)):  # fmt: skip
                total = total + self._scattered(a, b, sign * local)
        if self.model.contacts:
            total = total + self._mass_matrix(self._contact_matrix.sum(1) / self.volume)
        return sp.csc_array(total)

    @cached_property
    def _contact_matrix(self) -> Array:
        """(regions, regions) W/K of the lumped contacts."""
        out = np.zeros((len(self.regions), len(self.regions)))
        names = self.model.mesh.regions
        for contact in self.model.contacts:
            i, j = names.index(contact.one), names.index(contact.other)
            out[i, j] += contact.conductance
            out[j, i] += contact.conductance
        return out

    @cached_property
    def _ambient_load(self) -> Array:
        """(n,) W that the surroundings bring through the leaks."""
        total = sum((m.sum(axis=1) for m in self._leak_matrices.values()), start=np.zeros(self.nodes))
        return np.asarray(total, dtype=float).ravel() * self.model.ambient

    @cached_property
    def mean_rows(self) -> Array:
        """(regions, n): volume-mean temperature of each region = mean_rows @ T."""
        local = (self.weight @ self.shape) / self.volume[self.kind][:, None]
        out = np.zeros((len(self.regions), self.nodes))
        np.add.at(out, (np.repeat(self.kind, 9), self.quads.ravel()), local.ravel())
        return out

    # ---- what a stage is assembled from
    @cached_property
    def _whole(self) -> Assembly:
        return Assembly(self._elements, self.edges, self.patches.of_edge, self.tables, self._linear)

    @cached_property
    def half(self) -> Half | None:
        """The half that stands for the whole where all is even; not looked for where surfaces see each other or joints part
        the nodes."""
        if self.exchange is not None or self.model.interfaces:
            return None
        return half_of(self.model.mesh, self.edges, self.vacuum)

    @cached_property
    def _halved(self) -> Assembly:
        return Assembly(self._elements, self.edges, self.patches.of_edge, self.tables, self._linear, self.half)

    def _assembly(self, even: bool) -> Assembly:
        return self._halved if even else self._whole

    def looked_at(self, values: Array, even: bool) -> Array:
        """Of (e, q) values those on the elements that a stage looks at."""
        return self._assembly(even).looked_at(values)

    def is_even(self, temperature: Array, heat: Array) -> bool:
        """Whether a stage may be solved by halves: temperatures (n,) in K and heats (e, q) in J/m^3 are alike on both sides."""
        return self.half is not None and self.half.is_even(temperature, heat)

    def evened(self, nodal: Array) -> Array:
        """Nodal values of an even state without what rounding has left uneven."""
        return nodal if self.half is None else self.half.evened(nodal)

    # ---- one stage
    def enthalpy(self, temperature: Array) -> Array:
        """(e, q) J/m^3."""
        out = np.empty(self.weight.shape)
        kernels.table_at(temperature, self.quads, self.shape, self.kind, *GRID, self.tables.enthalpy, out)
        return out

    def at_gauss(self, temperature: Array) -> Array:
        """(e, q) K."""
        out = np.empty(self.weight.shape)
        kernels.at_gauss(temperature, self.quads, self.shape, out)
        return out

    def load(self, values: Array) -> Array:
        """(n,) = int values N dV for values (e, q) per volume."""
        out = np.zeros(self.nodes)
        kernels.load(values, self.quads, self.shape, self.weight, out)
        return out

    def total(self, values: Array) -> float:
        """Volume integral of values (e, q) per volume."""
        return float(np.vdot(values, self.weight))

    def far(self, temperature: Array, answer: Answer | None) -> Far:
        """What is felt from afar at a temperature."""
        means = self.mean_rows @ temperature if self.model.contacts else _NO_MEANS
        if answer is None:
            return Far(self._from_around, means)
        emission, _ = self.patch_emission(temperature)
        return Far(answer.arriving(emission), means)

    @cached_property
    def _from_around(self) -> Array:
        """(p, bands) W/m^2 arriving where no surface sees another."""
        ambient = self.tables.ambient_emission(self.model.ambient)
        return np.tile(ambient, (self.patches.count, 1))

    def patch_emission(self, temperature: Array) -> tuple[Array, Array]:
        """Mean emission (W/m^2) and mean emissivity of every patch and band."""
        emission = np.empty((self.patches.count, self.tables.bands))
        emissivity = np.empty_like(emission)
        kernels.surface_emission(temperature, *self._whole.surface, self.patches.area, emission, emissivity)
        return emission, emissivity

    @cached_property
    def _leaving(self) -> tuple[Any, ...]:
        return self._linear.indptr, self._linear.indices, self._linear.data

    @cached_property
    def _has_linear(self) -> bool:
        return bool(self._linear.nnz)

    def residual(self, temperature: Array, base: Array, g: float, far: Far, even: bool = False) -> Residual:
        """Residual (J) of a stage with base enthalpy and source in `base` J/m^3 as `looked_at`, by halves where all is `even`."""
        found = self._assembly(even).residual(temperature, base, g, far.arriving)
        out = found.nodal
        if self._has_linear:
            kernels.leak_residual(temperature, *self._leaving, self._ambient_load, g, out)
        if self.model.contacts:
            out += g * (self._contact_take @ far.means)
        return found

    @cached_property
    def _contact_take(self) -> Array:
        """(n, regions): W/K that a region's mean temperature brings to the nodes of those in contact with it."""
        return np.asarray(self.mean_rows.T @ self._contact_matrix)

    def factor(self, temperature: Array, last: Array, g: float, far: Far, even: bool = False) -> Factor:
        """Factorised stage matrix at a temperature, far values held."""
        return self._assembly(even).factor(temperature, last, g, far.arriving)

    def with_far(self, factor: Factor, temperature: Array, answer: Answer | None) -> Factor:
        """`factor` with the reaction of the far values to the temperature."""
        take, gather = [np.zeros((self.nodes, 0))], [np.zeros((0, self.nodes))]
        if self.model.contacts:
            take.append(factor.g * self._contact_take)
            gather.append(self.mean_rows)
        if answer is not None:
            p, bands = self.patches.count, self.tables.bands
            taken, given = np.empty((self.nodes, p, bands)), np.empty((p, bands, self.nodes))
            kernels.exchange_columns(temperature, *self._whole.surface, self.patches.area, taken, given)
            for band in range(bands):
                take.append(factor.g * taken[:, :, band])
                gather.append(answer.of_emission[band] @ given[:, band])
        return factor.with_far(np.concatenate(take, axis=1), np.concatenate(gather))

    def losses(self, temperature: Array, radiated: Array) -> dict[str, float]:
        """Heat leaving to the surroundings now, W, by kind."""
        above = temperature - self.model.ambient
        return {"radiation": float(radiated.sum()), **{kind: float(leak @ above) for kind, leak in self.leaks.items()}}

    def nodal(self, temperature: float | dict[str, float] | Array) -> Array:
        """Nodal temperature (n,) from a number, numbers by region name, or nodal values. Raises BadInput."""
        if isinstance(temperature, dict):
            missing = set(self.model.mesh.regions) - set(temperature)
            if missing:
                raise BadInput(Fault("start temperature", f"must be given for every region; missing {sorted(missing)}"))
            out = np.full(self.nodes, np.nan)
            for number, name in enumerate(self.model.mesh.regions):
                out[self.quads[self.kind == number]] = temperature[name]
        elif np.ndim(temperature) == 0:
            out = np.full(self.nodes, temperature, dtype=float)
        else:
            out = np.array(temperature, dtype=float)
            if out.shape != (self.nodes,):
                what = f"nodal values must have shape ({self.nodes},); received {out.shape}"
                raise BadInput(Fault("start temperature", what))
        if not np.all(np.isfinite(out)) or np.any(out <= 0.0):
            raise BadInput(Fault("start temperature", "must be above 0 K everywhere"))
        return out
