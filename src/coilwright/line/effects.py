"""What it does to power and time when something assumed turns out otherwise: the effects that stand beside an offer."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from coilwright.line.plant import Condition, Plant

# What is usual to be wrong by (common practice, no source): what, field of the condition, by how much, printed in.
_CHANGES: Final[tuple[tuple[str, str, float, Literal["mm", "%"]], ...]] = (
    ("part farther from its coil (thicker glass, worn nest) by", "part_back", 0.3e-3, "mm"),
    ("resistivity of the part higher by", "resistivity", 0.2, "%"),
    ("mass to be heated greater by", "mass", 0.1, "%"),
    ("source set lower by", "setting", -0.05, "%"),
)


@dataclass(frozen=True)
class Effect:
    """`what` is otherwise `by` so much (m, or a share): relative change of the `power` in the part and of the `time` until the
    part is done, None where nothing tells when that is."""

    what: str
    by: float
    unit: Literal["mm", "%"]
    power: float
    time: float | None


def effects(plant: Plant) -> tuple[Effect, ...]:
    """The usual doubts, one at a time, at every station alike."""
    out = []
    for what, field, by, unit in _CHANGES:
        state = Condition.healthy(1, plant.line.stations)
        size = by if unit == "mm" else math.log1p(by)
        getattr(state, field)[...] = min(size, plant.reach) if unit == "mm" else size
        got = plant.predict(state)
        time = float(np.mean(got.ratios["total"])) if plant.shot.late else None
        out.append(
            Effect(what, abs(by), unit, math.expm1(float(got.power.mean())), None if time is None else math.expm1(time))
        )
    return tuple(out)
