"""The laws of the bodies at the Gauss points: resistivity and reluctivity of a temperature field."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.field.exterior import MU0
from coilwright.field.inputs import RegionLaw
from coilwright.field.live import Live
from coilwright.section.quad9 import Array, IntArray

ROOM = 293.15
Temperatures = Mapping[str, float | Array] | Array | float | None


def temperatures_at_gauss(live: Live, given: Temperatures) -> Array:
    """(e, q) in K from nothing (20 degC), one number, an (e, q) array, or one of these per body name."""
    shape = live.interior.area.shape
    if given is None:
        return np.full(shape, ROOM)
    if not isinstance(given, Mapping):
        return np.array(np.broadcast_to(np.asarray(given, dtype=float), shape))
    unknown = [name for name in given if name not in {b.name for b in live.bodies}]
    if unknown:
        raise BadInput(Fault("temperatures", f"must name live bodies; {unknown} is none of them"))
    out = np.full(shape, ROOM)
    for i, body in enumerate(live.bodies):
        if body.name in given:
            out[live.elements_of(i)] = given[body.name]
    return out


def regions_of(live: Live) -> Iterator[tuple[RegionLaw, IntArray]]:
    """The law of every region and its elements."""
    laws = {name: law for body in live.bodies for name, law in body.laws.items()}
    mesh = live.interior.mesh
    for name in mesh.regions:
        yield laws[name], mesh.elements(name)


def resistivity_at(live: Live, temperature: Array) -> Array:
    """(e, q) in ohm m, inf where nothing conducts."""
    out = np.full(temperature.shape, math.inf)
    for law, pick in regions_of(live):
        if law.resistivity is not None:
            out[pick] = law.resistivity(temperature[pick])
    return out


def is_saturating(live: Live) -> bool:
    """Whether any region's reluctivity depends on the field."""
    return any(law.magnetic is not None and law.magnetic.saturating for law, _ in regions_of(live))


def reluctivity_at(live: Live, temperature: Array, flux_density_peak: Array | float = 0.0) -> tuple[Array, Array]:
    """(nu, d nu / d B_peak), both (e, q), in m/H and m/H/T."""
    return Reluctivity(regions_of(live), temperature)(np.broadcast_to(flux_density_peak, temperature.shape))


class Reluctivity:
    """(nu, d nu / d B_peak), both (e, q), in m/H and m/H/T, at temperatures (e, q) that stay, for any peak flux densities;
    `regions` are the laws and their rows."""

    def __init__(self, regions: Iterable[tuple[RegionLaw, IntArray]], temperature: Array) -> None:
        self._nu = np.full(temperature.shape, 1.0 / MU0)
        self._saturating = []
        for law, pick in regions:
            if law.magnetic is None:
                continue
            if law.magnetic.saturating:
                self._saturating.append((pick, law.magnetic.at_temperature(temperature[pick])))
            else:
                self._nu[pick] = 1.0 / (MU0 * np.asarray(law.magnetic.relative_permeability(temperature[pick])))

    def __call__(self, flux_density_peak: Array) -> tuple[Array, Array]:
        nu, slope = self._nu.copy(), np.zeros(self._nu.shape)
        for pick, law in self._saturating:
            nu[pick], slope[pick] = law(flux_density_peak[pick])
        return nu, slope
