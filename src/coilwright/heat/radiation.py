"""Radiation between gray, diffuse surfaces in wavelength bands: what arrives at every patch.

Per band, with emission e, emissivity eps, transmittance tau (walls only) and reflectance rho = 1 - eps - tau of the
patches: J = e + rho G leaves, G = F J + (rest) E_ambient arrives. Net-radiation method: Siegel & Howell, Thermal
Radiation Heat Transfer, 4th ed., chapter 7; bands as in chapter 9 (semi-gray).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coilwright.heat.inputs import ThermalModel
from coilwright.heat.surfaces import Edges, Patches
from coilwright.heat.tables import Tables
from coilwright.heat.view import ViewFactors, view_factors
from coilwright.section.quad9 import Array, BoolArray, IntArray


@dataclass(frozen=True, eq=False)
class Answer:
    """Irradiation from patch emission, at given emissivities: G_b = of_emission[b] e_b + fixed[:, b]."""

    of_emission: Array
    fixed: Array

    def arriving(self, emission: Array) -> Array:
        """(p, bands) W/m^2 for patch emissions (p, bands) in W/m^2."""
        return np.asarray(np.matmul(self.of_emission, emission.T[:, :, None])[:, :, 0].T + self.fixed)


@dataclass(frozen=True, eq=False)
class Exchange:
    """`views` holds one set of view factors per band, `ambient` (bands,) the black emission of the surroundings."""

    views: tuple[ViewFactors, ...]
    ambient: Array

    def answer(self, emissivity: Array) -> Answer:
        """For the emissivities (p, bands) of the patches."""
        maps, fixed = [], []
        for band, view in enumerate(self.views):
            reflectance = np.maximum(1.0 - emissivity[:, band] - view.transmittance, 0.0)
            system = np.eye(len(reflectance)) - view.between * reflectance
            sides = np.column_stack([view.between, view.outside * self.ambient[band]])
            solved = np.linalg.solve(system, sides)
            maps.append(solved[:, :-1])
            fixed.append(solved[:, -1])
        return Answer(np.stack(maps), np.stack(fixed, axis=1))


def exchange_of(patches: Patches, tables: Tables, ambient: float, rays: int) -> Exchange:
    """View factors of every band; bands in which the walls let through the same share use one set."""
    through, of_band = np.unique(tables.transmittance[patches.region], axis=1, return_inverse=True)
    views = view_factors(patches, np.ascontiguousarray(through.T), rays)
    return Exchange(tuple(views[k] for k in of_band.ravel()), tables.ambient_emission(ambient))


def surfaces_see_each_other(edges: Edges, patches: Patches) -> bool:
    """Whether any face can see another: several outlines, faces towards the axis, or a hollow."""
    end, start = edges.points[:, 2], edges.points[:, 0]
    middle = 0.5 * (start + end)
    normal = np.stack([end[:, 1] - start[:, 1], start[:, 0] - end[:, 0]], axis=1)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    if np.any(normal[:, 0] < -1e-6):
        return True
    ahead = np.einsum("kd,jkd->jk", normal, edges.points[:, 1][:, None] - middle[None])
    size = float(np.ptp(edges.points.reshape(-1, 2), axis=0).max())
    return bool(np.any(ahead > 1e-6 * size)) and patches.count > 1


def vacuum_edges(model: ThermalModel, edges: Edges, patches: Patches) -> BoolArray:
    """Which boundary edges lie in the vacuum.

    Rule: all faces of regions in vacuum; a face of a region in air that sees a region in vacuum (all walls taken as
    opaque), and every face of the same region that sees such a face.
    """
    if model.vacuum_faces is not None:
        return np.asarray(model.vacuum_faces, dtype=bool)
    inside = np.array([region.space == "vacuum" for region in model.in_mesh_order])
    found = inside[patches.region]
    if found.all() or not found.any():
        return np.asarray(found[patches.of_edge])
    seen = view_factors(patches, np.zeros((1, patches.count)), 512)[0].between > 0.0
    found = found | np.any(seen[:, found], axis=1)
    return np.asarray(_spread(found, seen, patches.region)[patches.of_edge])


def _spread(found: BoolArray, seen: BoolArray, region: IntArray) -> BoolArray:
    same = seen & (region[:, None] == region[None])
    while True:
        more = found | np.any(same[:, found], axis=1)
        if np.array_equal(more, found):
            return found
        found = more
