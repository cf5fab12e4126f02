"""At which frequencies the source sees its sought phase, and which of them it will follow.

A voltage-fed bridge settles where the impedance turns inductive above (rising phase): its switches then turn on at zero
voltage. A current-fed bridge settles where it turns capacitive above (falling phase). When several lie in the window
the highest is followed, because such sources start from the top of their window and sweep down (common practice, no
source).
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from coilwright.tank.chain import Chain, CoilImpedance, coil_at, impedance
from coilwright.tank.result import Crossing

SCAN_POINTS = 6000
COIL_SAMPLES = 41


def sought(z: Any, tangent: float, current_fed: bool) -> Any:
    """Zero where the angle of `z` is atan(tangent); nearly straight in frequency around the resonance of either kind."""
    if current_fed:
        y = 1.0 / z
        return y.imag + tangent * y.real
    return z.imag - tangent * z.real


def find_crossings(
    chain: Chain, coil: CoilImpedance, window: tuple[float, float], angle: float = 0.0, current_fed: bool = False
) -> tuple[Crossing, ...]:
    """Every crossing of the angle (rad) in the window (Hz, Hz), rising in frequency, the followed one marked.

    A scan of SCAN_POINTS log-spaced frequencies brackets them (pairs closer than 0.15 % of a decade-wide window can be
    missed), Brent's method settles each to 1e-13.
    """
    from scipy.optimize import brentq

    f = np.geomspace(window[0], window[1], SCAN_POINTS)
    z = impedance(chain, _sampled(coil, f), 2.0 * np.pi * f)
    tangent = math.tan(angle)
    g = z.imag - tangent * z.real

    def at(frequency: float) -> float:
        value = impedance(chain, coil_at(coil, frequency), 2.0 * math.pi * frequency)
        return float(value.imag - tangent * value.real)

    found = []
    for k in np.flatnonzero(np.diff(np.sign(g)) != 0):
        low, high = float(f[k]), float(f[k + 1])
        if at(low) * at(high) > 0.0:
            continue
        root = float(brentq(at, low, high, xtol=1e-13 * low, rtol=8.9e-16))
        value = complex(impedance(chain, coil_at(coil, root), 2.0 * math.pi * root))
        found.append(Crossing(root, value, bool(g[k + 1] > g[k])))
    return _mark(found, current_fed)


def _mark(found: list[Crossing], current_fed: bool) -> tuple[Crossing, ...]:
    suited = [k for k, c in enumerate(found) if c.rising != current_fed]
    if suited:
        found[suited[-1]] = replace(found[suited[-1]], followed=True)
    return tuple(found)


def _sampled(coil: CoilImpedance, f: Any) -> Any:
    """The coil over the scan grid: R and L straight in log f between a few true values (the roots use the true ones)."""
    if not callable(coil):
        return np.full(len(f), complex(coil))
    points = np.geomspace(f[0], f[-1], COIL_SAMPLES)
    values = np.array([complex(coil(float(x))) for x in points])
    inductance = np.interp(np.log(f), np.log(points), values.imag / points)
    return np.interp(np.log(f), np.log(points), values.real) + 1j * f * inductance


def track(
    chain: Chain, coil: CoilImpedance, guess: float, tangent: float, current_fed: bool, tolerance: float = 1e-12
) -> float | None:
    """Follow a crossing from a nearby guess (Hz) by secant steps; None when it runs away or is of the wrong kind."""
    before: float = guess
    now: float = guess * (1.0 + 1e-4)
    two_pi = 2.0 * math.pi
    old = sought(impedance(chain, coil_at(coil, before), two_pi * before), tangent, current_fed)
    for _ in range(25):
        new = sought(impedance(chain, coil_at(coil, now), two_pi * now), tangent, current_fed)
        slope = (new - old) / (now - before)
        if slope <= 0.0 or not math.isfinite(slope):
            return None
        change = float(-new / slope)
        before, old, now = now, new, now + change
        if not 0.5 * guess < now < 2.0 * guess:
            return None
        if abs(change) <= tolerance * now:
            return now
    return None
