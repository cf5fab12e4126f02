"""Transformer turns and matching inductor: each value tried at its own operating point, ranked by what reaches the coil."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from coilwright.errors import BadInput, Fault
from coilwright.tank.chain import CoilImpedance
from coilwright.tank.inputs import TankInput, Transformer
from coilwright.tank.operating import operating_point
from coilwright.tank.result import OperatingPoint
from coilwright.tank.stress import worst_check


@dataclass(frozen=True)
class Match:
    """One value tried: the label, its operating point (None when it cannot start) and why it loses ("" for the first)."""

    label: str
    value: float
    point: OperatingPoint | None
    verdict: str = ""

    @property
    def coil_power(self) -> float:
        return self.point.coil_power if self.point is not None else 0.0


def choose_transformer(
    tank: TankInput, coil: CoilImpedance | tuple[float, float], turns: Iterable[tuple[int, int]]
) -> tuple[Match, ...]:
    """The pairs of (source-side, coil-side) turns, best first: most coil power within the source's limits and all ratings.

    Leakage, resistances and magnetising inductance of the tank's transformer (or an ideal one) stay as they stand: the
    source-side ones as functions of its turns are the winding's own business. Raises BadInput when none can start.
    """
    base = tank.transformer or Transformer(1.0)
    trials = [(f"{a}:{b}", a / b, replace(tank, transformer=replace(base, ratio=a / b))) for a, b in turns]
    return _ranked(trials, coil, "transformer")


def choose_inductor(
    tank: TankInput, coil: CoilImpedance | tuple[float, float], inductances: Iterable[float], q: float | None = None
) -> tuple[Match, ...]:
    """Coupling inductances (H), best first. `q`: Q of the inductor, which sets its resistance at the followed frequency;
    None keeps the tank's. Raises BadInput when none can start.
    """
    trials = []
    for value in inductances:
        if value <= 0.0:
            raise BadInput(Fault("inductance", f"must be above zero, received {value:g} H"))
        trial = replace(tank, inductor_inductance=value)
        trials.append((f"{value * 1e6:.4g} uH", value, trial))
    return _ranked(trials, coil, "inductor", q)


def _ranked(
    trials: Sequence[tuple[str, float, TankInput]], coil: Any, what: str, q: float | None = None
) -> tuple[Match, ...]:
    if not trials:
        raise BadInput(Fault(what, "no values were given to choose from; name at least one"))
    matches, refusals = [], []
    for label, value, tank in trials:
        try:
            matches.append(Match(label, value, _settled(tank, coil, q)))
        except BadInput as error:
            refusals.append(Match(label, value, None, error.faults[0].what))
    if not matches:
        raise BadInput(
            Fault(
                what,
                f"none of {', '.join(t[0] for t in trials)} can start; with {refusals[0].label}: {refusals[0].verdict}",
            )
        )
    matches.sort(key=lambda m: (_over(m), -m.coil_power))
    first = matches[0]
    return (first, *(replace(m, verdict=_why(m, first)) for m in matches[1:]), *refusals)


def _settled(tank: TankInput, coil: Any, q: float | None) -> OperatingPoint:
    """Operating point; with a Q the inductor's resistance is that of the frequency found without it."""
    point = operating_point(tank, coil)
    if q is None:
        return point
    omega = 2.0 * math.pi * point.frequency
    return operating_point(replace(tank, inductor_resistance=omega * tank.inductor_inductance / q), coil)


def _over(match: Match) -> bool:
    worst = worst_check(match.point.ratings) if match.point is not None else None
    return worst is not None and worst.used > 1.0


def _why(match: Match, first: Match) -> str:
    point = match.point
    if point is None:
        return match.verdict
    parts = []
    worst = worst_check(point.ratings)
    if worst is not None and worst.used > 1.0:
        parts.append(f"{worst.quantity} of {worst.component} is {worst.used:.0%} of what is allowed")
    if match.coil_power < first.coil_power * (1.0 - 1e-9):
        parts.append(f"{match.coil_power:.4g} W reach the coil, {first.coil_power:.4g} W with {first.label}")
    if point.limited_by:
        parts.append(point.limited_by)
    return "; ".join(parts) or "as good as the first"
