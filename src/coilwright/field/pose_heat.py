"""What uneven heating round a thin ring does to its temperature: conduction round the ring against the heating."""

from __future__ import annotations

import math

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.section.quad9 import Array


def circumferential_temperature(
    line_power: Array,
    *,
    radius: float,
    area: float,
    conductivity: float,
    loss_coefficient: float,
    heat_capacity: float | None = None,
    time: float | None = None,
) -> Array:
    """Temperature rise (K) over the surroundings at the azimuths of `line_power` (k,), evenly spaced round the circle.

    `line_power` W per m of circumference; `radius` (m) and `area` (m^2) of the ring's section; `conductivity`
    W/(m K); `loss_coefficient` W/(m K), what a metre of ring loses per kelvin (radiation linearised about the mean).
    Steady, or with `heat_capacity` (J/(m^3 K)) after `time` s from even temperature.
    Each harmonic n of the heating alone: (conductivity area n^2 / radius^2 + loss_coefficient) T_n = q_n, approached
    with its own time constant (fin equation bent to a circle; e.g. Carslaw & Jaeger, Conduction of Heat in Solids,
    2nd ed. (1959), chapter 4, from memory). Holds for sections small against the radius and even temperature across
    them. Raises BadInput for sizes not positive.
    """
    positive = {"radius": radius, "area": area, "conductivity": conductivity}
    faults = [Fault(k, f"must be positive; received {v!r}") for k, v in positive.items() if not v > 0.0]
    if not (loss_coefficient >= 0.0 and math.isfinite(loss_coefficient)):
        faults.append(Fault("loss_coefficient", f"must not be negative; received {loss_coefficient!r}"))
    if (time is None) != (heat_capacity is None):
        faults.append(Fault("time", "needs heat_capacity, and the other way round; give both or neither"))
    if time is None and loss_coefficient == 0.0:
        faults.append(Fault("loss_coefficient", "must be above 0 for a steady state; give a time instead"))
    if heat_capacity is not None and not heat_capacity > 0.0:
        faults.append(Fault("heat_capacity", f"must be positive; received {heat_capacity!r}"))
    if time is not None and not time >= 0.0:
        faults.append(Fault("time", f"must not be negative; received {time!r}"))
    if faults:
        raise BadInput(faults)
    power = np.asarray(line_power, dtype=float)
    harmonics = np.fft.rfft(power)
    n = np.arange(len(harmonics))
    return_flow = conductivity * area * (n / radius) ** 2 + loss_coefficient
    if heat_capacity is None or time is None:
        return np.fft.irfft(harmonics / return_flow, len(power))
    store = heat_capacity * area
    grown = np.where(
        return_flow > 0.0,
        -np.expm1(-return_flow * time / store) / np.where(return_flow > 0.0, return_flow, 1.0),
        time / store,
    )
    return np.fft.irfft(harmonics * grown, len(power))
