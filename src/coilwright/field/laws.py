"""The laws of the bodies at the Gauss points: resistivity and reluctivity of a temperature field."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

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


def _regions(live: Live) -> Iterator[tuple[RegionLaw, IntArray]]:
    laws = {name: law for body in live.bodies for name, law in body.laws.items()}
    mesh = live.interior.mesh
    for name in mesh.regions:
        yield laws[name], mesh.elements(name)


def resistivity_at(live: Live, temperature: Array) -> Array:
    """(e, q) in ohm m, inf where nothing conducts."""
    out = np.full(temperature.shape, math.inf)
    for law, pick in _regions(live):
        if law.resistivity is not None:
            out[pick] = law.resistivity(temperature[pick])
    return out


def is_saturating(live: Live) -> bool:
    """Whether any region's reluctivity depends on the field."""
    return any(law.magnetic is not None and law.magnetic.saturating for law, _ in _regions(live))


def reluctivity_at(
    live: Live, temperature: Array, flux_density_peak: Array | float = 0.0, only: IntArray | None = None
) -> tuple[Array, Array]:
    """(nu, d nu / d B_peak), both (e, q), in m/H and m/H/T, of temperatures (e, q) of the whole mesh. With `only` some elements
    (e',), rising, flux density and results are of these."""
    if only is not None and len(only) < len(temperature):
        return _reluctivity(live, temperature[only], flux_density_peak, only)
    return _reluctivity(live, temperature, flux_density_peak, None)


def _reluctivity(
    live: Live, temperature: Array, flux_density_peak: Array | float, only: IntArray | None
) -> tuple[Array, Array]:
    nu, slope = np.full(temperature.shape, 1.0 / MU0), np.zeros(temperature.shape)
    peak = np.broadcast_to(flux_density_peak, temperature.shape)
    for law, elements in _regions(live):
        pick = elements if only is None else np.flatnonzero(np.isin(only, elements))
        if law.magnetic is None:
            continue
        if law.magnetic.saturating:
            nu[pick], slope[pick] = law.magnetic.effective_reluctivity(peak[pick], temperature[pick])
        else:
            nu[pick] = 1.0 / (MU0 * np.asarray(law.magnetic.relative_permeability(temperature[pick])))
    return nu, slope
