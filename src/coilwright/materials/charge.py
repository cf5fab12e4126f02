"""Exothermic, evaporating fills: how fast they react, what heat they give, what metal they set free."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Source
from coilwright.materials.curve import Curve

Array = NDArray[np.float64]
GAS_CONSTANT: Final = 8.314462618  # J/mol/K, exact in the SI of 2019 to these digits


@dataclass(frozen=True, eq=False)
class ChargeLaw:
    """A fill that reacts as d(alpha)/dt = A exp(-E/RT) (1 - alpha)^n and gives off `heat_of_reaction` * d(alpha).

    `metal_fraction` is the mass share of the metal bound in the fill, `release` the share of it that has left the fill by the
    end of a shot against the highest temperature the fill reached, `vaporisation_heat` (J per kg of metal) is what leaving
    costs. `heat_source`, `kinetics_source` and `release_source` say how far each may be trusted.
    """

    name: str
    aliases: tuple[str, ...]
    heat_of_reaction: float
    rate_constant: float
    activation_energy: float
    order: float
    metal: str
    metal_fraction: float
    vaporisation_heat: float
    release: Curve
    specific_heat: float
    density: float
    source: Source
    kinetics_source: Source
    heat_source: Source
    release_source: Source
    notes: str

    def rate_coefficient(self, temperature: ArrayLike) -> Array:
        """k(T) = A exp(-E/RT), 1/s."""
        kelvin = np.maximum(np.asarray(temperature, dtype=float), 1.0)
        result: Array = self.rate_constant * np.exp(-self.activation_energy / (GAS_CONSTANT * kelvin))
        return result

    def rate(self, temperature: ArrayLike, reacted: ArrayLike) -> Array:
        """d(alpha)/dt, 1/s, at temperature (K) and reacted share alpha (0..1)."""
        left = np.clip(1.0 - np.asarray(reacted, dtype=float), 0.0, 1.0)
        result: Array = self.rate_coefficient(temperature) * left**self.order
        return result

    def metal_released(self, reacted: ArrayLike, hottest: ArrayLike) -> Array:
        """Mass of metal set free per mass of fill, from the reacted share and the highest fill temperature (K)."""
        result: Array = self.metal_fraction * np.asarray(reacted, dtype=float) * self.release(hottest)
        return result

    def peak_temperature(self, heating_rate: float) -> float:
        """Temperature (K) of the fastest reaction when heated steadily at `heating_rate` (K/s).

        H. E. Kissinger, Anal. Chem. 29 (1957) 1702: E b/(R T^2) = A exp(-E/RT), exact for order 1. Solved by iteration.
        """
        if not heating_rate > 0.0:
            raise BadInput(Fault("", f"a heating rate must be above 0 K/s, but {heating_rate:g} was received"))
        ratio = self.activation_energy / GAS_CONSTANT
        kelvin = 1000.0
        for _ in range(200):
            kelvin = ratio / float(np.log(self.rate_constant * kelvin**2 / (ratio * heating_rate)))
        return kelvin


def charge_law(name: str) -> ChargeLaw:
    """The law of a named fill (case ignored, aliases known). Raises BadInput naming the fills there are."""
    wanted = " ".join(name.lower().split())
    for law in _laws():
        if wanted in (law.name, *law.aliases):
            return law
    known = ", ".join(f'"{law.name}"' for law in _laws())
    raise BadInput(Fault("", f'"{name[:60]}" is not a charge this package knows; write one of: {known}'))


def charge_names() -> tuple[str, ...]:
    return tuple(law.name for law in _laws())


@lru_cache(maxsize=1)
def _laws() -> tuple[ChargeLaw, ...]:
    from coilwright.materials.reading import read_charges

    return read_charges((files("coilwright.materials") / "data" / "charges.toml").read_text(encoding="utf-8"))
