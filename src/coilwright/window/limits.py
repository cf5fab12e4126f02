"""How far each quantity may be out: alone, and all at once.

Within the range of the study the stand-ins tell; beyond it, where a quantity matters, full shots look on.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from coilwright.errors import BadInput
from coilwright.section.quad9 import Array
from coilwright.window.pool import each
from coilwright.window.quantities import VariedQuantity
from coilwright.window.stations import Station
from coilwright.window.study import Study
from coilwright.window.yields import at_station, middle_station

_GRID = 161
_FARTHER = (3.0, 2.0, 1.5)  # times the range of the study: where full shots look on, less where bodies would collide
_LEVELS = (0.82, 1.2)
_CLOSE = 2e-3  # a margin this small is the limit
_LOOKS = 8  # full shots at most


@dataclass(frozen=True)
class Tolerance:
    """How far one quantity may go with all else as drawn. `low`, `high` (SI) are where a limit is passed, or None when
    none is within `searched` (or bodies would collide first); `why` names the limits. `together` (SI): the interval for
    all quantities at once."""

    quantity: VariedQuantity
    low: float | None
    high: float | None
    why: tuple[str, str]
    searched: tuple[float, float]
    together: tuple[float, float]

    def to_dict(self) -> dict[str, Any]:
        tail = {"m": "m", "K": "K", "": "", "kg": "kg", "rad": "rad"}.get(self.quantity.unit, self.quantity.unit)
        end = f"_{tail}" if tail else ""
        return {
            "what": self.quantity.what,
            f"nominal{end}": self.quantity.nominal,
            f"low{end}": self.low,
            f"high{end}": self.high,
            "low_because": self.why[0],
            "high_because": self.why[1],
            f"searched{end}": list(self.searched),
            f"together{end}": list(self.together),
        }


def tolerances(study: Study, farther: Collection[str] = ()) -> tuple[Tolerance, ...]:
    """Limits of every quantity alone and of all together, at the middle station.

    For the quantities named in `farther` full shots look for a limit beyond the range of the study.
    """
    joint = joint_share(study)
    found = [_alone(study, q, joint) for q in study.varied]
    far = [t.quantity.what in farther and t.quantity.role == "job" for t in found]
    open_ends = [
        (k, end) for k, t in enumerate(found) for end, limit in enumerate((t.low, t.high)) if far[k] and limit is None
    ]

    def looked(task: tuple[int, int]) -> tuple[float | None, str, float]:
        k, end = task
        return _beyond(study, found[k].quantity, found[k].searched[end])

    for (k, end), answer in zip(open_ends, each(looked, open_ends, study.effort.workers), strict=True):
        found[k] = _with_end(found[k], end, *answer)
    return tuple(found)


def _with_end(t: Tolerance, end: int, value: float | None, why: str, searched: float) -> Tolerance:
    """The tolerance with its low (0) or high (1) end as looked for by full shots beyond the study's range."""
    if end == 0:
        return replace(t, low=value, why=(why, t.why[1]), searched=(searched, t.searched[1]))
    return replace(t, high=value, why=(t.why[0], why), searched=(t.searched[0], searched))


def _beyond(study: Study, q: VariedQuantity, end: float) -> tuple[float | None, str, float]:
    """(limit, why, end looked at) beyond one end of the range, which the stand-ins call good. They tell where to look first,
    full shots close in: by the secant until one has failed, then by false position with the Illinois weight (M. Dowell,
    P. Jarratt, BIT 11 (1971) 168)."""
    outside = None if end == q.nominal else _outermost(study, q, end)  # one-sided: the other side never happens
    if outside is None:
        return None, "", end
    inside, good, bad = end, float(_margins(study, q, np.array([end])).min()), math.nan
    at, last, then = _told(study, q, end, outside), inside, good
    for _ in range(_LOOKS):
        try:
            here, why = _full(study, q, at)
        except BadInput:  # its shapes stand clear, but it cannot be meshed
            return None, "", float(inside)
        if here >= 0.0 and at == outside:
            return None, "", outside
        step = -here * (at - last) / (here - then) if here != then else outside - at
        last, then = at, here
        if abs(here) < _CLOSE:
            at += step
            break
        if here < 0.0:
            outside, bad, good = at, here, good if math.isnan(bad) else 0.5 * good
        else:
            inside, good, bad = at, here, 0.5 * bad
        if math.isnan(bad):
            at = _between(at, at + step, outside)
        else:
            at = inside + (outside - inside) * good / (good - bad)
    return float(at), why, float(at)


def _outermost(study: Study, q: VariedQuantity, end: float) -> float | None:
    """The farthest value beyond an end at which the job can be built: elsewhere bodies collide, or its file does not take it."""
    for times in _FARTHER:
        value = q.nominal + times * (end - q.nominal)
        try:
            study.runner.drawn({q.what: value})
        except BadInput:
            continue
        return float(value)
    return None


def _told(study: Study, q: VariedQuantity, end: float, outside: float) -> float:
    """Where the stand-ins, carried on beyond what they were made over, pass a limit first; the outermost value if nowhere."""
    values = np.linspace(end, outside, _GRID)
    found, _ = _first_crossing(study, values, _margins(study, q, values))
    return outside if found is None else found


def _between(at: float, wanted: float, outside: float) -> float:
    """`wanted` where it lies from `at` on towards `outside`, else that."""
    return wanted if min(at, outside) < wanted < max(at, outside) else outside


def _full(study: Study, q: VariedQuantity, value: float) -> tuple[float, str]:
    """Least margin and its limit of a full shot at the middle station, the circuit of all stations solved for it."""
    station = middle_station(study)
    runner, model = study.runner, study.model
    result = model.solve({station + 1: Station(variant=runner.job_with({q.what: value}))})
    outcome = runner.run({q.what: value}, float(result.heating_current[station]) / model.nominal_current)
    margins = outcome.margins[study.counts]
    k = int(np.argmin(margins))
    return float(margins[k]), study.limits[int(study.counts[k])].name


def _alone(study: Study, q: VariedQuantity, joint: float) -> Tolerance:
    low, high = usual = q.range
    if q.role in ("mains", "setting"):  # they act through the level alone, which the runs cover much wider
        low, high = min(low, _LEVELS[0] * q.nominal), max(high, _LEVELS[1] * q.nominal)
    values = np.linspace(low, high, _GRID)
    margins = _margins(study, q, values)
    middle = int(np.argmin(np.abs(values - q.nominal)))
    up, why_up = _first_crossing(study, values[middle:], margins[middle:])
    down, why_down = _first_crossing(study, values[: middle + 1][::-1], margins[: middle + 1][::-1])
    return Tolerance(
        q, down, up, (why_down, why_up), (low, high),
        (q.nominal - joint * (q.nominal - usual[0]), q.nominal + joint * (usual[1] - q.nominal)),
    )  # fmt: skip


def _margins(study: Study, q: VariedQuantity, values: Array) -> Array:
    """(n, limits that count) margins of the stand-ins at the middle station with one quantity at `values` (n,)."""
    station = middle_station(study)
    judged = study.judge(at_station(study, {q.what: values}, len(values), station), station=station)
    return np.asarray(judged.margins[:, 0][:, study.counts])


def _first_crossing(study: Study, values: Array, margins: Array) -> tuple[float | None, str]:
    """Where the least margin first falls below zero, and which limit that is."""
    worst = margins.min(axis=1)
    below = np.flatnonzero(worst < 0.0)
    if not len(below):
        return None, ""
    k = int(below[0])
    name = study.limits[int(study.counts[int(np.argmin(margins[k]))])].name
    if k == 0:
        return float(values[0]), name
    share = worst[k - 1] / (worst[k - 1] - worst[k])
    return float(values[k - 1] + share * (values[k] - values[k - 1])), name


def joint_share(study: Study) -> float:
    """Share of each quantity's whole range that all may use at once, at their worst together, without scrap; 1 when even
    the full ranges pass, 0 when the nominal shot fails.

    The worst corner of every limit is taken from the sign of each quantity's own effect.
    """
    station = middle_station(study)
    ends = {q.what: q.range for q in study.varied}
    rows = 2 * len(study.varied)
    base = {q.what: np.full(rows, q.nominal) for q in study.varied}
    for k, q in enumerate(study.varied):
        base[q.what][2 * k], base[q.what][2 * k + 1] = ends[q.what]
    margins = study.judge(at_station(study, base, rows, station), station=station).margins[:, 0]
    shares = np.linspace(0.0, 1.0, 101)
    least = 1.0
    for c in study.counts:
        worst = {}
        for k, q in enumerate(study.varied):
            end = ends[q.what][0] if margins[2 * k, c] < margins[2 * k + 1, c] else ends[q.what][1]
            worst[q.what] = q.nominal + shares * (end - q.nominal)
        m = study.judge(at_station(study, worst, len(shares), station), station=station).margins[:, 0, c]
        below = np.flatnonzero(m < 0.0)
        if len(below):
            k = int(below[0])
            least = min(least, 0.0 if k == 0 else float(shares[k - 1] + 0.01 * m[k - 1] / (m[k - 1] - m[k])))
    return least
