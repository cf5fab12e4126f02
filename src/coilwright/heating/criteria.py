"""The acceptance of a part, judged from the trace of a shot.

Temperatures between reported times are taken as linear; the trace holds every accepted step of the integrator, so the
reading of a crossing is as good as the step control.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.heating.result import Trace, Verdict
from coilwright.section.quad9 import Array
from coilwright.units import ZERO_CELSIUS

Kind = Literal["reaches", "stays_below", "charge_fired", "holds"]
Details: TypeAlias = dict[str, float | str | None]


# The start of a reaction is read where this share of the charge has burnt.
STARTED = 0.05


@dataclass(frozen=True)
class Criterion:
    """One acceptance line. `limit` is a temperature (K) or a share; `within` and `lasting` are times (s) or None.

    `at` is "coldest", "mean", "hottest" or the name of a point.
    """

    body: str
    kind: Kind
    limit: float
    at: str
    within: float | None = None
    lasting: float | None = None


def judge(criteria: tuple[Criterion, ...], trace: Trace) -> tuple[Verdict, ...]:
    """A verdict with margins for every criterion. Raises BadInput when a body has no charge to fire."""
    judges = {"reaches": _reaches, "stays_below": _stays_below, "charge_fired": _charge_fired, "holds": _holds}
    return tuple(judges[c.kind](c, trace) for c in criteria)


def _temperature(c: Criterion, trace: Trace) -> Array:
    body = trace.bodies[c.body]
    named = {"coldest": body.minimum, "mean": body.mean, "hottest": body.maximum}
    return named[c.at] if c.at in named else trace.points[c.at]


def crossing(time: Array, values: Array, limit: float) -> float | None:
    """First instant at which `values` reaches `limit` from below, or None; linear between entries."""
    above = np.flatnonzero(values >= limit)
    if not len(above):
        return None
    k = int(above[0])
    if k == 0:
        return float(time[0])
    share = (limit - values[k - 1]) / (values[k] - values[k - 1])
    return float(time[k - 1] + share * (time[k] - time[k - 1]))


def _celsius(kelvin: float) -> str:
    return f"{kelvin - ZERO_CELSIUS:.0f} degC"


def _reaches(c: Criterion, trace: Trace) -> Verdict:
    temperature = _temperature(c, trace)
    deadline = float(trace.time[-1]) if c.within is None else c.within
    when = crossing(trace.time, temperature, c.limit)
    met = when is not None and when <= deadline
    in_time = trace.time <= deadline
    best = max(float(temperature[in_time].max()), float(np.interp(deadline, trace.time, temperature)))
    asked = f"{c.at} reaches {_celsius(c.limit)}" + (f" within {c.within:g} s" if c.within is not None else "")
    if met:
        said = f"{c.body}: {c.at} reaches {_celsius(c.limit)} at {when:.2f} s, {deadline - when:.2f} s in hand"  # type: ignore[operator]
    elif when is not None:
        said = f"{c.body}: {c.at} reaches {_celsius(c.limit)} only at {when:.2f} s, {when - deadline:.2f} s too late"
    else:
        said = f"{c.body}: {c.at} gets to {_celsius(best)}, {c.limit - best:.0f} K short of {_celsius(c.limit)}"
    margin_s = None if when is None else deadline - when
    details: Details = {"reaches_degC": c.limit - ZERO_CELSIUS, "at": c.at, "within_s": c.within, "reached_at_s": when}
    return Verdict(c.body, asked, met, said, margin_K=best - c.limit, margin_s=margin_s, details=details)


def _stays_below(c: Criterion, trace: Trace) -> Verdict:
    temperature = _temperature(c, trace)
    peak, when = float(temperature.max()), float(trace.time[int(np.argmax(temperature))])
    met = peak < c.limit
    word = "in hand" if met else "too hot"
    gap = abs(c.limit - peak)
    said = f"{c.body}: {c.at} peaks at {_celsius(peak)} at {when:.2f} s, {gap:.0f} K {word} (limit {_celsius(c.limit)})"
    limit, top = c.limit - ZERO_CELSIUS, peak - ZERO_CELSIUS
    details: Details = {"stays_below_degC": limit, "at": c.at, "peak_degC": top, "peak_at_s": when}
    asked = f"{c.at} stays below {_celsius(c.limit)}"
    return Verdict(c.body, asked, met, said, margin_K=c.limit - peak, details=details)


def _charge_fired(c: Criterion, trace: Trace) -> Verdict:
    burnt = trace.bodies[c.body].charge_fired
    if burnt is None:
        raise BadInput(Fault(f'accept: body "{c.body}"', "charge_fired needs a body with a charge; give the body one"))
    final = float(burnt[-1])
    when = crossing(trace.time, burnt, c.limit)
    met = final >= c.limit and (c.within is None or (when is not None and when <= c.within))
    start = crossing(trace.time, burnt, STARTED)
    said = f"{c.body}: {100 * final:.1f} % of the charge fired ({100 * c.limit:.0f} % wanted)"
    if burnt[0] >= STARTED:
        start = None
        said += f", {100 * float(burnt[0]):.1f} % of it before this shot"
    else:
        said += f", start at {start:.2f} s" if start is not None else ", it never started"
    details: Details = {"charge_fired": final, "wanted": c.limit, "start_at_s": start, "fired_at_s": when}
    margin_s = None if when is None or c.within is None else c.within - when
    asked = f"{100 * c.limit:g} % of the charge fired" + (f" within {c.within:g} s" if c.within is not None else "")
    return Verdict(c.body, asked, met, said, None, margin_s, final - c.limit, details)


def _holds(c: Criterion, trace: Trace) -> Verdict:
    temperature, wanted = _temperature(c, trace), c.lasting or 0.0
    longest = longest_above(trace.time, temperature, c.limit)
    met = longest >= wanted
    said = f"{c.body}: {c.at} stays above {_celsius(c.limit)} for {longest:.2f} s ({wanted:g} s wanted)"
    asked = f"{c.at} above {_celsius(c.limit)} for {wanted:g} s"
    details: Details = {
        "above_degC": c.limit - ZERO_CELSIUS,
        "at": c.at,
        "for_at_least_s": wanted,
        "longest_s": longest,
    }
    peak = float(temperature.max())
    return Verdict(c.body, asked, met, said, margin_K=peak - c.limit, margin_s=longest - wanted, details=details)


def longest_above(time: Array, values: Array, limit: float) -> float:
    """Length (s) of the longest unbroken span in which `values` is at or above `limit`; linear between entries."""
    longest = span = 0.0
    for k in range(len(time) - 1):
        a, b, dt = values[k] - limit, values[k + 1] - limit, time[k + 1] - time[k]
        if a >= 0.0 and b >= 0.0:
            span += dt
        elif b >= 0.0:
            span = dt * b / (b - a)
        elif a >= 0.0:
            longest = max(longest, span + dt * a / (a - b))
            span = 0.0
        longest = max(longest, span)
    return float(longest)
