"""One coil moved on purpose: from what changed, how much more (or less) a setback does than the model says.

Metal near a coil that is not in the job file (clamps, plates, the neighbours) makes the real field fall off otherwise than the
computed one. One number, the gain, stretches every distance of coil and part until the readings agree; what the totals did beyond
that is kept as a slope of its own.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from coilwright.line.machine import READINGS, Signature
from coilwright.line.plant import Condition, Plant

_UNMEASURED = 0.05  # one sigma of a sensitivity that nobody measured (memory)
_BEFOREHAND = 0.5  # one sigma of the gain before anything was moved: the readings decide
_LEAST = 0.02  # one sigma below which nobody knows a gain
_RANGE = (0.3, 3.0)


@dataclass(frozen=True)
class Sensitivity:
    """One reading of the guided step: ln of after / before as `predicted` and `measured` with `sigma` (movement included), and
    the `gain` it alone stands for with `gain_sigma`, None where it says nothing about it."""

    what: str
    predicted: float
    measured: float | None
    sigma: float
    gain: float | None = None
    gain_sigma: float | None = None

    @property
    def seen(self) -> bool:
        """Whether the predicted change stands out from the uncertainty of the reading."""
        return abs(self.predicted) > 2.0 * self.sigma

    def to_dict(self) -> dict[str, Any]:
        return {
            "reading": self.what,
            "predicted_percent": 100.0 * math.expm1(self.predicted),
            "measured_percent": None if self.measured is None else 100.0 * math.expm1(self.measured),
            "uncertainty_percent": 100.0 * self.sigma,
            "can_be_seen": self.seen,
            "gain": self.gain,
            "gain_uncertainty": self.gain_sigma,
        }


@dataclass(frozen=True)
class Gain:
    """How much more a setback does than the model says: `value` with `sigma`; `slopes` of totals (ln per m) beyond it."""

    value: float = 1.0
    sigma: float = _UNMEASURED
    slopes: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    measured: bool = False

    def __str__(self) -> str:
        if not self.measured:
            return "no coil was moved on purpose: the computed sensitivity stands"
        return f"a setback does {self.value:.2f} +- {self.sigma:.2f} times what the model says (measured)"

    def to_dict(self) -> dict[str, Any]:
        slopes = {k: {"per_mm": 1e-3 * s, "uncertainty": 1e-3 * u} for k, (s, u) in self.slopes.items()}
        return {"gain": self.value, "uncertainty": self.sigma, "measured": self.measured, "slopes": slopes}


def sensitivities(plant: Plant, station: int, back: float, signature: Signature | None = None) -> tuple[Sensitivity, ...]:
    """What moving one coil by `back` (m) does to every reading, beside what was measured where something was."""
    given = {} if signature is None else signature.changes
    out = []
    for what, known in READINGS.items():
        if not known.ratio or what in _UNMOVED:
            continue
        predicted = _change(plant, station, back, 1.0, what)
        if what not in given:
            out.append(Sensitivity(what, predicted, None, math.sqrt(2.0) * known.sigma))
            continue
        measured, sigma = given[what]
        doubt = 0.0 if signature is None else signature.back_sigma / abs(back)
        noise = math.hypot(sigma, predicted * doubt)
        found = _gain_of(plant, station, back, what, measured, noise) if known.each else (None, None)
        out.append(Sensitivity(what, predicted, measured, noise, *found))
    return tuple(out)


# Readings that do not depend on where one coil stands.
_UNMOVED = (
    "capacitance", "mains", "setting", "on-time", "flow", "part-mass", "part-resistance", "outlet-rise", "inductance-empty",
    "resistance-empty", "frequency-empty", "q-empty", "coil-current-empty", "source-power-empty",
)  # fmt: skip


def setback_gain(plant: Plant, signature: Signature | None) -> Gain:
    """The gain that the readings of the guided step agree on, by least squares, and what the totals did beyond it.

    Readings that contradict each other widen the uncertainty by the Birge ratio (R. T. Birge, Physical Review 40 (1932) 207).
    """
    if signature is None:
        return Gain()
    found = sensitivities(plant, signature.station, signature.back, signature)
    own = [(s.gain, s.gain_sigma) for s in found if s.gain is not None and s.gain_sigma is not None]
    value, sigma = 1.0, _UNMEASURED
    if own:
        g, u = (np.array([x[k] for x in own]) for k in (0, 1))
        w = np.concatenate([[_BEFOREHAND**-2], u**-2.0])
        value = float(w @ np.concatenate([[1.0], g]) / w.sum())
        birge = math.sqrt(float(np.sum(((g - value) / u) ** 2)) / (len(g) - 1)) if len(g) > 1 else 1.0
        sigma = max(float(w.sum()) ** -0.5 * max(birge, 1.0), _LEAST)
    slopes = {}
    moved = replace(plant, gain=value)
    for s in found:
        if s.measured is None or READINGS[s.what].each:
            continue
        beyond = s.measured - _change(moved, signature.station, signature.back, 1.0, s.what)
        if abs(beyond) > 2.0 * s.sigma:
            slopes[s.what] = (beyond / signature.back, s.sigma / abs(signature.back))
    return Gain(value, sigma, slopes, bool(own))


def _gain_of(
    plant: Plant, station: int, back: float, what: str, measured: float, noise: float
) -> tuple[float | None, float | None]:
    """The gain at which the model shows what was measured, with one sigma; None where the reading hardly depends on it."""
    grid = np.geomspace(*_RANGE, 49)
    shown = np.array([_change(plant, station, back, float(g), what) for g in grid])
    slope = (shown[-1] - shown[0]) / (grid[-1] - grid[0])
    if abs(slope) < 1e-9:
        return None, None
    way = math.copysign(1.0, slope)
    rising = np.maximum.accumulate(way * shown) + 1e-12 * np.arange(len(grid))
    value = float(np.interp(way * measured, rising, grid))
    here = float(np.interp(value, grid, np.gradient(rising, grid)))
    sigma = noise / max(here, 1e-12)
    return (value, sigma) if sigma < _BEFOREHAND else (None, None)


def _change(plant: Plant, station: int, back: float, gain: float, what: str) -> float:
    c = Condition.healthy(1, plant.line.stations)
    c.coil_back[0, station - 1] = back
    got = replace(plant, gain=plant.gain * gain).predict(c).ratios[what]
    return float(got[0, station - 1] if got.ndim == 2 else got[0])
