"""Green, amber and red for every reading of the hand-over record: from what the part tolerates and how well one can read."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from coilwright.job import Job
from coilwright.line.machine import READINGS, Baseline, baseline, read_machine
from coilwright.line.plant import Array, Condition, Plant
from coilwright.line.posterior import MODEL_ERROR, Board

_AMBER, _RED = 0.01, 0.05  # chance of a bad piece, above the healthy one, at which a reading turns
_REPEAT = 2.0  # standard uncertainties that a limit must lie away from healthy to mean anything


@dataclass(frozen=True)
class Limit:
    """Limits of one reading: `driven_by` the common change that moves it most, ln ratios (m for setback) at which it turns.

    `amber` and `red` are signed, in the direction of the fault. `seen`: False when the reading cannot show the change
    before parts are lost, because it repeats too poorly; then it must not be used as a limit. `doubt`: one sigma of `red` from
    what is known of the sensitivity, computed or measured.
    """

    what: str
    station: int
    driven_by: str
    amber: float
    red: float
    sigma: float
    seen: bool
    healthy: float | None
    doubt: float = 0.0

    def state(self, value: float) -> Literal["green", "amber", "red"]:
        """Colour of a reading (ln ratio, or m)."""
        along = value * math.copysign(1.0, self.red)
        if along >= abs(self.red):
            return "red"
        return "amber" if along >= abs(self.amber) else "green"

    def absolute(self, change: float) -> float | None:
        """The reading itself at a change, SI; None without a healthy value."""
        if not READINGS[self.what].ratio:
            return (self.healthy or 0.0) + change
        return None if self.healthy is None else self.healthy * math.exp(change)

    @property
    def alike(self) -> bool:
        """Whether it repeats what the first station says: without a record the stations are alike."""
        return self.station > 1 and self.healthy is None

    @property
    def row(self) -> tuple[str, ...]:
        """In words: reading, station, when, amber, red, whether it can be seen."""
        d = self.to_dict()
        unit = "mm" if "red_mm" in d else "percent"
        shown = "%" if unit == "percent" else unit
        where = "each station" if self.station and self.healthy is None else str(self.station or "whole")
        seen = "yes" if self.seen else "no: do not use"
        return (
            self.what, where, self.driven_by, f"{d[f'amber_{unit}']:+.2g} {shown}", f"{d[f'red_{unit}']:+.2g} {shown}", seen,
        )  # fmt: skip

    def to_dict(self) -> dict[str, Any]:
        ratio = READINGS[self.what].ratio
        shown = (lambda x: 100.0 * math.expm1(x)) if ratio else (lambda x: 1e3 * x)
        unit = "percent" if ratio else "mm"
        return {
            "reading": self.what,
            "station": self.station or None,
            "driven_by": self.driven_by,
            f"amber_{unit}": shown(self.amber),
            f"red_{unit}": shown(self.red),
            "amber": self.absolute(self.amber),
            "red": self.absolute(self.red),
            f"doubt_{unit}": 100.0 * self.doubt if ratio else 1e3 * self.doubt,
            "can_be_seen": self.seen,
        }


# What moves a reading: a field of the condition, its sign, and how far to look.
_STATION: Mapping[str, tuple[str, float]] = {
    "coil moves back": ("coil_back", 4e-3),
    "coil moves nearer": ("coil_back", -4e-3),
}
_WHOLE: Mapping[str, tuple[str, float]] = {
    "power falls": ("mains", -0.4),
    "losses rise": ("joint", 1.0),
    "on-time falls": ("timer", -1.0),
}
_WHOLE_OF = {"on-time": "on-time falls", "q": "losses rise", "q-empty": "losses rise"}


def limits(board: Board, job: Job) -> tuple[Limit, ...]:
    """Limits of all readings for which the model knows what the part tolerates.

    A reading turns amber where the chance of a bad piece has grown by 1 % and red by 5 %. The limits stand where the model
    (scaled by a measured signature when there is one) puts them; none is invented for readings that do not move.
    """
    base, plant = baseline(job), board.plant
    out: list[Limit] = []
    for name, (field, most) in _STATION.items():
        reach = min(most, plant.reach) if most > 0 else -plant.forward
        found = _turning(plant, field, reach, 0)
        if found is None:
            continue
        moved = [_ratios(plant, field, found, k) for k in range(plant.line.stations)]
        for what, known in READINGS.items():
            if known.each:
                out += [_limit(board, base, what, k, name, field, ratios) for k, ratios in enumerate(moved, 1)]
    for name, (field, most) in _WHOLE.items():
        found = _turning(plant, field, most, None)
        if found is None:
            continue
        ratios = _ratios(plant, field, found, None)
        for what, known in READINGS.items():
            if not known.each and _WHOLE_OF.get(what, "power falls") == name:
                out.append(_limit(board, base, what, 0, name, field, ratios))
    return tuple(x for x in out if abs(x.red) > 1e-6)


def _state(plant: Plant, field: str, values: Array, station: int | None) -> Condition:
    c = Condition.healthy(len(values), plant.line.stations)
    if station is None:
        getattr(c, field)[:] = values
    else:
        getattr(c, field)[:, station] = values
    return c


def _turning(plant: Plant, field: str, most: float, station: int | None) -> tuple[float, float] | None:
    """Sizes of a change at which the chance of a bad piece has grown to amber and red; None when it never does."""
    sizes = np.linspace(0.0, most, 81)
    bad = plant.predict(_state(plant, field, sizes, station)).expected_bad
    grown = bad.mean(axis=1) if station is None else bad[:, station]
    grown = np.maximum.accumulate(grown - grown[0])
    if grown[-1] < _RED:
        return None
    amber, red = np.interp([_AMBER, _RED], grown, sizes)
    return float(amber), float(red)


def _ratios(plant: Plant, field: str, sizes: tuple[float, float], station: int | None) -> Mapping[str, Array]:
    """What the readings do at the sizes of a change that are amber and red."""
    return plant.predict(_state(plant, field, np.array(sizes), station)).ratios


def _limit(
    board: Board, base: Baseline, what: str, station: int, name: str, field: str, ratios: Mapping[str, Array]
) -> Limit:
    got = ratios[what]
    amber, red = (float(x) for x in (got if got.ndim == 1 else got[:, station - 1]))
    known, recorded = READINGS[what], base.values.get((what, station))
    sigma = known.sigma
    if recorded is not None:
        sigma = recorded[1] / abs(recorded[0]) if known.ratio else recorded[1]
    healthy = None if recorded is None else recorded[0]
    doubt = abs(red) * (board.gain.sigma if field == "coil_back" else MODEL_ERROR)
    return Limit(what, station, name, amber, red, sigma, abs(red) >= _REPEAT * sigma, healthy, doubt)


def missing(job: Job, stations: int) -> tuple[str, ...]:
    """What a full record would have and this one lacks, in the order in which it is worth the minutes."""
    record = read_machine(job)
    have = {(r.key, r.station or 0) for r in record.reading}
    out = []
    for what in ("frequency", "q", "coil-current", "source-power", "mains", "on-time", "q-empty", "outlet-rise",
                 "frequency-hot", "coil-current-hot"):  # fmt: skip
        if (what, 0) not in have:
            out.append(READINGS[what].asked)
    for what in ("setback", "start", "pick-up", "gauge-step"):
        lacking = [k for k in range(1, stations + 1) if (what, k) not in have]
        if lacking:
            which = "station" if len(lacking) == 1 else "stations"
            out.append(f"{READINGS[what].asked} ({which} {', '.join(map(str, lacking))})")
    if record.moved is None and stations > 1:
        out.append("the signature: move one coil 1 mm back on purpose, read everything again, set it right again")
    return tuple(out)
