"""The exothermic charge: how much of it has burnt at every Gauss point, what heat it gives, when it starts.

The burnt share follows d(a)/dt = k(T) (1 - spent - a)^n, k = A exp(-E/RT), exactly within a step: the integral of k is
the logarithmic mean of its end values times the step (exact for k exponential in time). `spent` is the share that a
former, incomplete shot has made useless.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coilwright.heat.inputs import ChargeInput, ChargeLaw, ThermalRegion
from coilwright.section.quad9 import Array, IntArray

GAS_CONSTANT = 8.314462618  # J/mol/K
TOUCHED = 0.01  # burnt share above which a point counts as fired before


def rate(law: ChargeLaw, temperature: Array) -> Array:
    """k (1/s) at temperatures in K."""
    kelvin = np.maximum(temperature, 1.0)
    return np.asarray(law.rate_constant * np.exp(-law.activation_energy / (GAS_CONSTANT * kelvin)))


def exposure(law: ChargeLaw, before: Array, after: Array, duration: float) -> Array:
    """Integral of k over a step between two temperatures: logarithmic mean of the end values times the duration."""
    x = law.activation_energy / GAS_CONSTANT * (1.0 / np.maximum(before, 1.0) - 1.0 / np.maximum(after, 1.0))
    x = np.clip(np.where(np.abs(x) < 1e-9, 1e-9, x), -500.0, 500.0)
    return np.asarray(duration * rate(law, before) * np.expm1(x) / x)


def left_after(left: Array, order: float, exposed: Array) -> Array:
    """What remains of `left` after an exposure int k dt."""
    if order == 1.0:
        return np.asarray(left * np.exp(-exposed))
    with np.errstate(divide="ignore", over="ignore"):
        power = np.maximum(left, 0.0) ** (1.0 - order) + (order - 1.0) * exposed
        return np.asarray(np.where(left > 0.0, np.maximum(power, 0.0) ** (1.0 / (1.0 - order)), 0.0))


def crossing(
    law: ChargeLaw,
    times: tuple[float, float],
    temperatures: tuple[float, float],
    burnt: tuple[float, float],
    share: float,
    alive: float = 1.0,
) -> float:
    """Moment (s) at which the burnt share passes `share` between two steps; `alive` is the share not spent before.

    Inverse interpolation: the exposure that belongs to each share grows as the exponential of k between the two
    mean temperatures (K). Arithmetic interpolation would be wrong by hundredths of a second.
    """
    t0, t1 = times

    def exposed(a: float) -> float:
        left = max(alive - a, 1e-12)
        return -float(np.log(left)) if law.order == 1.0 else (left ** (1.0 - law.order) - 1.0) / (law.order - 1.0)

    low, high = exposed(burnt[0]), exposed(burnt[1])
    if high <= low:
        return t1
    f = min(max((exposed(share) - low) / (high - low), 0.0), 1.0)
    x = law.activation_energy / GAS_CONSTANT * (1.0 / temperatures[0] - 1.0 / temperatures[1])
    x = min(max(x, -500.0), 500.0)
    return t0 + (t1 - t0) * (float(np.log1p(f * np.expm1(x)) / x) if abs(x) > 1e-6 else f)


@dataclass(frozen=True, eq=False)
class _Fill:
    elements: IntArray
    weight: Array
    charge: ChargeInput
    per_volume: Array  # J/m^3 for the whole charge, (elements, 1)


class Charges:
    """All charges of a model on its Gauss points; empty when there is none."""

    def __init__(self, regions: Sequence[ThermalRegion], kind: IntArray, weight: Array) -> None:
        self._fills: dict[str, _Fill] = {}
        self._shape = weight.shape
        for number, region in enumerate(regions):
            if region.charge is not None:
                elements = np.flatnonzero(kind == number)
                w = weight[elements]
                density = region.charge.mass * region.charge.law.heat_of_reaction / float(w.sum())
                self._fills[region.name] = _Fill(elements, w, region.charge, np.full((len(elements), 1), density))

    def __bool__(self) -> bool:
        return bool(self._fills)

    @property
    def names(self) -> tuple[str, ...]:
        """Regions that hold a charge."""
        return tuple(self._fills)

    def charge(self, name: str) -> ChargeInput:
        return self._fills[name].charge

    def after(self, burnt: Array, spent: Array, before: Array, end: Array, duration: float) -> Array:
        """Burnt share (e, q) after a step from temperatures `before` to `end` (e, q)."""
        out = burnt.copy()
        for fill in self._fills.values():
            e = fill.elements
            law = fill.charge.law
            left = np.maximum(1.0 - spent[e] - burnt[e], 0.0)
            out[e] = burnt[e] + left - left_after(left, law.order, exposure(law, before[e], end[e], duration))
        return out

    def heat(self, change: Array) -> Array:
        """J/m^3 given off (e, q) for a change of the burnt share."""
        out = np.zeros(self._shape)
        for fill in self._fills.values():
            out[fill.elements] = fill.per_volume * change[fill.elements]
        return out

    def spent_after_shot(self, burnt: Array, spent: Array) -> Array:
        """Share that can no longer react once a shot is over and the part has cooled.

        Where the charge was touched, only `refire_share` of the rest stays alive.
        """
        out = spent.copy()
        for fill in self._fills.values():
            e = fill.elements
            left = np.maximum(1.0 - spent[e] - burnt[e], 0.0)
            out[e] += np.where(burnt[e] > TOUCHED, (1.0 - fill.charge.refire_share) * left, 0.0)
        return out

    def mean(self, name: str, field: Array) -> float:
        """Mean over the charge of a region."""
        fill = self._fills[name]
        return float(np.sum(fill.weight * field[fill.elements]) / fill.weight.sum())

    def deposit(self, name: str, burnt: Array) -> float:
        """Metal in the film, kg: mass x burnt share x deposit share."""
        charge = self._fills[name].charge
        return charge.mass * charge.deposit_share * self.mean(name, burnt)
