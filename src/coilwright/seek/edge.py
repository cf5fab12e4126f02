"""How far a shot is from failing its acceptance, and where along a line of shots it begins to fail."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from coilwright.heating.criteria import Criterion
from coilwright.heating.drive import Answer, Drive
from coilwright.heating.result import ShotResult, Verdict
from coilwright.heating.setup import criteria_of

_MOST = 20  # shots that close in on an edge


@dataclass(frozen=True)
class Weaker:
    """A drive at `share` of its setting."""

    drive: Drive
    share: float

    @property
    def frequency(self) -> float:
        return self.drive.frequency

    def respond(self, level: float, impedance: complex, frequency: float) -> Answer:
        return self.drive.respond(level * self.share, impedance, frequency)


def too_little(shot: ShotResult) -> float:
    """The least margin of all that too little heat fails, without unit: below zero where the verdict fails, steady across it.

    Times count as ln(deadline / time it took); what is not reached counts as the share of the way still missing. What must
    stay below a limit counts only where it does not. inf when nothing asks for heat.
    """
    criteria = criteria_of(shot.model.scene.job)
    found = zip(criteria, margins(shot), strict=True)
    return min((m for c, (_, m) in found if c.kind != "stays_below" or m < 0.0), default=math.inf)


def margins(shot: ShotResult) -> tuple[tuple[str, float], ...]:
    """Name and margin of every acceptance, in order, counted as in `too_little`."""
    criteria = criteria_of(shot.model.scene.job)
    end = float(shot.trace.time[-1])
    return tuple((name_of(v), _margin(c, v, shot, end)) for c, v in zip(criteria, shot.verdicts, strict=True))


def name_of(verdict: Verdict) -> str:
    """An acceptance as a person points at it."""
    return f"{verdict.body}: {verdict.asked}"


def _margin(c: Criterion, v: Verdict, shot: ShotResult, end: float) -> float:
    deadline = end if c.within is None else c.within
    start = shot.model.scene.start_temperature(c.body)
    if c.kind == "stays_below":
        return (v.margin_K or 0.0) / max(c.limit - start, 1.0)
    if c.kind == "charge_fired":
        return _dated(v.details, "fired_at_s", deadline, v.margin or 0.0, v.met)
    if c.kind == "reaches":
        return _dated(v.details, "reached_at_s", deadline, (v.margin_K or 0.0) / max(c.limit - start, 1.0), v.met)
    longest = float(v.details["longest_s"] or 0.0)
    if longest > 0.0:
        return (longest - (c.lasting or 0.0)) / max(c.lasting or 0.0, 0.1 * end)
    return -1.0 + min((v.margin_K or 0.0) / max(c.limit - start, 1.0), 0.0)


def _dated(details: Mapping[str, float | str | None], key: str, deadline: float, missing: float, met: bool) -> float:
    when = details[key]
    if when is None:
        return 0.0 if met else min(missing, -1e-6)
    return math.log(deadline / max(float(when), 1e-3))


@dataclass(frozen=True)
class Edge:
    """Where a line of shots begins to fail; `beyond` when it passes to the end of what was looked at."""

    place: float
    beyond: bool


def find_edge(margin: Callable[[float], float], here: float, farthest: float, guess: float, close: float) -> Edge:
    """The place between 0 and `farthest` at which `margin`, `here` (>= 0) at 0, goes through zero.

    False position (Illinois form) from `guess`, farther out until the place is between two others; ends when the margin is
    within `close` of zero, or when two places that pass and fail are within a thousandth of each other (a jump).
    """
    if math.isinf(here):
        return Edge(farthest, True)
    low, at_low, high, at_high = 0.0, here, math.nan, math.nan
    x, last = min(max(guess, 1e-3 * farthest), farthest), 0
    for _ in range(_MOST):
        value = margin(x)
        if abs(value) <= close:
            return Edge(x, False)
        if value > 0.0 and x >= farthest:
            return Edge(farthest, True)
        if value < 0.0:
            at_low *= 0.5 if last < 0 else 1.0
            high, at_high, last = x, value, -1
        else:
            at_high *= 0.5 if last > 0 else 1.0
            slope = (at_low - value) / (x - low)
            low, at_low, last = x, value, 1
        if math.isnan(high):
            x = min(max(low + at_low / slope if slope > 0.0 else 2.0 * low, 1.02 * low), 3.0 * low, farthest)
        elif high - low <= 1e-3 * high:
            break
        else:
            share = min(max(at_low / (at_low - at_high), 0.03), 0.97)
            x = low + share * (high - low)
    return Edge(low, False)
