"""Power without trusting a meter: from the slope of a trace, from the water, from R with and without the part.

Energy balance (textbook): power in the part = d/dt (heat content) + losses. For the coil, with the same current:
power in the part = I^2 (R with - R without), share of the coil's power that reaches the part = 1 - R without / R with.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from coilwright.cooling.water import water
from coilwright.errors import BadInput, Fault
from coilwright.evidence import Uncertain
from coilwright.section.quad9 import Array
from coilwright.trials.fit import correlation_time

Curve = Callable[[Array], Array]
# Usual one-sigma uncertainties, common practice of the trade, no source: bucket and watch or rotameter, two thermometers.
FLOW_SHARE, RISE_KELVIN = 0.04, 0.5
HEAT_SHARE = 0.03  # of the heat content: mass by calliper and specific heat
LOSS_SHARE = 0.3  # of the losses taken into account
_FEWEST = 5


@dataclass(frozen=True)
class SlopePower:
    """`power` W in the part, mean between `start` and `stop` (s); `loss` W of it went away meanwhile."""

    power: Uncertain
    loss: float
    start: float
    stop: float


def slope_power(
    time: Array, kelvin: Array, noise: float, heat: Curve, loss: Curve, start: float, stop: float
) -> SlopePower:
    """Mean power (W) from a trace between two times: slope of heat content plus what was lost until then.

    `heat` J and `loss` W of the whole part at temperatures (K). Good when the place measured follows the mean of the
    part, that is after it has evened out. Raises BadInput with fewer than 5 samples between.
    """
    inside = (time >= start) & (time <= stop)
    t, T = time[inside], kelvin[inside]
    if len(t) < _FEWEST:
        what = f"needs at least {_FEWEST} samples between {start:.3g} and {stop:.3g} s, has {len(t)}"
        raise BadInput(Fault("power from the slope", f"{what}; log faster"))
    rate = np.asarray(loss(T), dtype=float)
    lost = np.concatenate([[0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(t))])
    energy = np.asarray(heat(T), dtype=float) + lost
    x = t - t.mean()
    slope = float(x @ (energy - energy.mean()) / (x @ x))
    left = energy - energy.mean() - slope * x
    capacity = float((heat(T + 0.5) - heat(T - 0.5)).mean())
    scatter = max(noise * abs(capacity), math.sqrt(float(left @ left) / (len(t) - 2)))
    sigma = scatter * math.sqrt(correlation_time(left) / float(x @ x))
    mean_loss = float(rate.mean())
    total = math.hypot(sigma, HEAT_SHARE * (slope - mean_loss), LOSS_SHARE * mean_loss)
    return SlopePower(Uncertain(slope, total), mean_loss, float(t[0]), float(t[-1]))


def water_power(
    flow: float, rise: float, inlet: float = 293.15, flow_sigma: float | None = None, rise_sigma: float = RISE_KELVIN
) -> Uncertain:
    """Heat (W) that water takes along: `flow` m^3/s, `rise` K, `inlet` K. rho c dT q at the mean temperature.

    1 L/min and 14.35 K: about 1 kW.
    """
    if not (flow > 0.0 and rise > 0.0):
        raise BadInput(Fault("water", f"needs a flow and a rise above zero, received {flow:g} and {rise:g}"))
    w = water(inlet + 0.5 * rise)
    power = w.density * w.specific_heat * flow * rise
    share = FLOW_SHARE if flow_sigma is None else flow_sigma / flow
    return Uncertain(power, power * math.hypot(share, rise_sigma / rise))


def coupling_efficiency(loaded: Uncertain, empty: Uncertain) -> Uncertain:
    """Share of the coil's power that reaches the part, from series resistances (ohm) with and without it.

    eta = 1 - R_empty / R_loaded (textbook; same current, the coil's own loss taken as unchanged by the part).
    """
    if not 0.0 < empty.value < loaded.value:
        what = f"must be above R without it; received {loaded.value:.4g} and {empty.value:.4g} ohm"
        raise BadInput(Fault("R with the part", f"{what}; exchange them, or measure again at the same frequency"))
    ratio = empty.value / loaded.value
    return Uncertain(1.0 - ratio, ratio * math.hypot(empty.sigma / empty.value, loaded.sigma / loaded.value))


def reflected_power(current: Uncertain, loaded: Uncertain, empty: Uncertain) -> Uncertain:
    """Power in the part (W) at a coil current (A rms): I^2 (R_loaded - R_empty)."""
    change = loaded.value - empty.value
    power = current.value**2 * change
    from_r = math.hypot(loaded.sigma, empty.sigma) / change if change != 0.0 else math.inf
    return Uncertain(power, abs(power) * math.hypot(2.0 * current.sigma / current.value, from_r))
