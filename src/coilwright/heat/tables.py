"""Material curves on one even temperature grid, so that compiled loops can read them in a few operations.

Between grid points values are linear. The grid falls on every whole and half degree Celsius: tables given at whole
degrees are met exactly, and a latent heat lies between two grid points with its whole energy.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from coilwright.heat.bands import STEFAN_BOLTZMANN, share_between
from coilwright.heat.inputs import ThermalRegion
from coilwright.section.quad9 import Array

LOWEST = 0.15  # K
STEP = 0.5  # K
HIGHEST = 4000.15  # K; beyond it heat capacity, conductivity and emissivity are kept
GRID: Array = LOWEST + STEP * np.arange(round((HIGHEST - LOWEST) / STEP) + 1, dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Tables:
    """Per region and grid temperature: `enthalpy` J/m^3, `conductivity` W/m/K (m, t); per region and band: `emission`
    W/m^2 and `emissivity` (m, bands, t). `transmittance` (m, bands). `edges` (m) are all band edges, rising."""

    enthalpy: Array
    conductivity: Array
    emission: Array
    emissivity: Array
    transmittance: Array
    edges: tuple[float, ...]

    @property
    def bands(self) -> int:
        return len(self.edges) + 1

    def ambient_emission(self, temperature: float) -> Array:
        """(bands,) black-body emission (W/m^2) of surroundings at a temperature (K)."""
        return STEFAN_BOLTZMANN * temperature**4 * np.array([float(share) for share in self._shares(temperature)])

    def _shares(self, temperature: Array | float) -> list[Array]:
        return band_shares(self.edges, temperature)


def band_shares(edges: tuple[float, ...], temperature: Array | float) -> list[Array]:
    """Share of black-body emission in each of the bands cut by `edges`."""
    limits = (0.0, *edges, np.inf)
    return [share_between(a, b, temperature) for a, b in pairwise(limits)]


@lru_cache(maxsize=8)
def _shares_on_grid(edges: tuple[float, ...]) -> list[Array]:
    return band_shares(edges, GRID)


def build(regions: Sequence[ThermalRegion]) -> Tables:
    """Tables of the regions in the given order."""
    edges = tuple(sorted({edge for region in regions if region.optics for edge in region.optics.edges}))
    black = STEFAN_BOLTZMANN * GRID**4
    shares = _shares_on_grid(edges)
    enthalpy = np.stack([np.maximum.accumulate(region.material.volumetric_enthalpy(GRID)) for region in regions])
    conductivity = np.stack([np.broadcast_to(r.material.thermal_conductivity(GRID), GRID.shape) for r in regions])
    emissivity = np.stack([[_emissivity(region, edges, band) for band in range(len(shares))] for region in regions])
    emission = emissivity * np.stack(shares) * black
    through = np.array([[_transmittance(region, edges, band) for band in range(len(shares))] for region in regions])
    return Tables(enthalpy, np.ascontiguousarray(conductivity), emission, emissivity, through, edges)


def _own_band(region: ThermalRegion, edges: tuple[float, ...], band: int) -> int:
    """Which of the region's own bands holds band number `band` of all."""
    start = (0.0, *edges)[band]
    return int(np.searchsorted(region.optics.edges, start, side="right")) if region.optics else 0


def _emissivity(region: ThermalRegion, edges: tuple[float, ...], band: int) -> Array:
    if region.optics is not None:
        return np.full(GRID.shape, region.optics.emissivity[_own_band(region, edges, band)])
    if region.emissivity is not None:
        return np.full(GRID.shape, region.emissivity)
    return np.clip(np.broadcast_to(region.material.emissivity(GRID), GRID.shape), 0.0, 1.0)


def _transmittance(region: ThermalRegion, edges: tuple[float, ...], band: int) -> float:
    return region.optics.transmittance[_own_band(region, edges, band)] if region.optics else 0.0
