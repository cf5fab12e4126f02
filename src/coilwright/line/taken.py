"""What was read and counted, from a TOML file or from Python, checked and brought to logarithms of ratios.

complaint = "station 3 does not flash"     # in the customer's words; with by and date for the report only
[[reading]]
what = "pick-up"              # with condition = "hot" or state = "empty" where a reading is taken so
station = 3
value = "1.33 V"
healthy = "1.50 V"            # may be left out when [machine] has it, or for frequency, Q ... when the model may say
uncertainty = "0.015 V"       # one sigma; default: the usual one of that reading
[[tally]]
bad = [0, 0, 19, 1, 0, 0]     # by station
tried = 20                    # or one number per station
[[tray]]
bad = [1, 1, 0, 2, 1]         # bad pieces per full tray, station not known
[[contrast]]
by = "lot"                    # lot | shift: suspect against the others
bad = [12, 1]
tried = [60, 60]
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field, ValidationError

from coilwright.errors import BadInput, Fault
from coilwright.job.faults import section_faults
from coilwright.job.tables import Table
from coilwright.job.values import Line
from coilwright.line.charts import counts
from coilwright.line.machine import READINGS, Baseline, Condition, State, amount, key_of, place_faults


@dataclass(frozen=True)
class Taken:
    """One reading: `what`, `station` (0: the whole machine), `value` ln of the ratio to healthy (m for setback) and `sigma`.

    `floor`: a start that was not seen by then; the value is a lower bound.
    """

    what: str
    station: int
    value: float
    sigma: float
    floor: bool = False

    def __str__(self) -> str:
        where = f" at station {self.station}" if self.station else ""
        if not READINGS[self.what].ratio:
            return f"{self.what}{where} {1e3 * self.value:+.2f} mm"
        more = "at least " if self.floor else ""
        return f"{self.what}{where} {more}{100.0 * math.expm1(self.value):+.2f} %"


@dataclass(frozen=True)
class Tallied:
    """Bad and tried by station."""

    bad: tuple[int, ...]
    tried: tuple[int, ...]


@dataclass(frozen=True)
class Contrast:
    """A suspect lot or shift (first) against the others (second)."""

    by: Literal["lot", "shift"]
    bad: tuple[int, int]
    tried: tuple[int, int]


@dataclass(frozen=True)
class Readings:
    """Everything known about a complaint: what was read and counted, and for the report the words, who and when."""

    taken: tuple[Taken, ...] = ()
    tallies: tuple[Tallied, ...] = ()
    trays: tuple[int, ...] = ()
    contrasts: tuple[Contrast, ...] = ()
    complaint: str = ""
    by: str = ""
    date: str = ""

    @property
    def anything(self) -> bool:
        return bool(self.taken or self.tallies or self.trays or self.contrasts)


class _Reading(Table):
    what: str
    value: str | float
    station: Annotated[int, Field(strict=True, ge=1, le=64)] | None = None
    healthy: str | float | None = None
    uncertainty: str | float | None = None
    condition: Condition = "cold"
    state: State = "loaded"

    def clashes(self) -> Iterator[tuple[str, str]]:
        yield from place_faults(self.what, self.station, self.condition, self.state)


class _Tally(Table):
    bad: tuple[int, ...]
    tried: int | tuple[int, ...]


class _Tray(Table):
    bad: tuple[int, ...]


class _Contrast(Table):
    by: Literal["lot", "shift"]
    bad: tuple[int, int]
    tried: tuple[int, int]


class _File(Table):
    complaint: Line = ""
    by: Line = ""
    date: Line = ""
    reading: tuple[_Reading, ...] = ()
    tally: tuple[_Tally, ...] = ()
    tray: tuple[_Tray, ...] = ()
    contrast: tuple[_Contrast, ...] = ()


def read_readings(path: Path, base: Baseline, stations: int, predicted: Mapping[str, float] | None = None) -> Readings:
    """Readings from a TOML file. Raises BadInput with one sentence per fault."""
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BadInput(Fault(str(path), f"must be a TOML file in UTF-8; {error}")) from None
    return from_tables(raw, path.name, base, stations, predicted)


def from_tables(raw: Mapping[str, Any], name: str, base: Baseline, stations: int,
                predicted: Mapping[str, float] | None = None) -> Readings:  # fmt: skip
    """As read_readings, from the tables themselves. `predicted`: SI values of the model for readings without a healthy one."""
    try:
        file = _File.model_validate(raw)
    except ValidationError as error:
        raise BadInput(section_faults(name, _File, raw, error)) from None
    taken = tuple(
        _taken(r, f"{name}: reading {n}", base, stations, predicted or {}) for n, r in enumerate(file.reading, 1)
    )
    tallies = tuple(tally(t.bad, t.tried, stations, f"{name}: tally {n}") for n, t in enumerate(file.tally, 1))
    trays = [b for t in file.tray for b in t.bad]
    if any(not 0 <= b <= stations for b in trays):
        raise BadInput(Fault(f"{name}: tray.bad", f"must hold numbers from 0 to {stations}, the pieces on a tray"))
    contrasts = []
    for n, c in enumerate(file.contrast, 1):
        _counted(c.bad, c.tried, f"{name}: contrast {n}")
        contrasts.append(Contrast(c.by, c.bad, c.tried))
    return Readings(taken, tallies, tuple(trays), tuple(contrasts), file.complaint, file.by, file.date)


def tally(bad: Sequence[int], tried: int | Sequence[int], stations: int, where: str = "tally") -> Tallied:
    """A tally by station, checked."""
    if len(bad) != stations:
        raise BadInput(Fault(f"{where}.bad", f"must have one number per station ({stations}); received {len(bad)}"))
    each = [tried] * stations if isinstance(tried, int) else list(tried)
    _counted(bad, each, where)
    return Tallied(tuple(int(b) for b in bad), tuple(int(t) for t in each))


def _counted(bad: Sequence[int], tried: Sequence[int], where: str) -> None:
    try:
        counts(np.array(bad), np.array(tried))
    except BadInput as error:
        raise BadInput(Fault(where, error.faults[0].what)) from None


def _taken(r: _Reading, where: str, base: Baseline, stations: int, predicted: Mapping[str, float]) -> Taken:
    key = key_of(r.what, r.condition, r.state)
    known = READINGS[key]
    station = r.station or 0
    if station > stations:
        raise BadInput(Fault(f"{where}.station", f"must be from 1 to {stations}; received {station}"))
    never = r.what == "start" and r.value == "never"
    value = math.nan if never else amount(r.value, r.what, where)
    if not known.ratio:
        healthy = 0.0 if r.healthy is None else amount(r.healthy, r.what, f"{where}.healthy")
        sigma = known.sigma if r.uncertainty is None else amount(r.uncertainty, r.what, f"{where}.uncertainty")
        return Taken(key, station, value - healthy, max(sigma, 1e-9))
    healthy, doubt = _healthy(r, key, where, base, station, predicted)
    if not healthy > 0.0 or not (never or value > 0.0):
        raise BadInput(
            Fault(f"{where}.value", f"must be greater than zero, as must its healthy value; received {r.value!r:.40}")
        )
    if never:
        return Taken(key, station, math.log(predicted.get("on-time", healthy) / healthy), known.sigma, True)
    given = None if r.uncertainty is None else amount(r.uncertainty, r.what, f"{where}.uncertainty") / value
    return Taken(
        key,
        station,
        math.log(value / healthy),
        max(math.hypot(known.sigma if given is None else given, doubt), 1e-6),
    )


def _healthy(
    r: _Reading, key: str, where: str, base: Baseline, station: int, predicted: Mapping[str, float]
) -> tuple[float, float]:
    """Healthy value and its relative sigma: as given, as recorded at hand-over, or as the model says."""
    if r.healthy is not None:
        return amount(r.healthy, r.what, f"{where}.healthy"), 0.0
    recorded = base.values.get((key, station))
    if recorded is not None:
        return recorded[0], recorded[1] / abs(recorded[0])
    if key in predicted:
        return predicted[key], model_doubt(key)
    what = f"is missing and [machine] has no {key}" + (f" of station {station}" if station else "")
    raise BadInput(Fault(f"{where}.healthy", f"{what}: write what it read when the machine was right"))


# Relative doubt in the model's absolute prediction where no healthy reading exists (memory: leads, joints and source are
# never quite those of the file).
_USUAL_DOUBT = 0.15
_MODEL_DOUBT = {
    "frequency": 0.05, "frequency-empty": 0.05, "frequency-hot": 0.05, "coil-current": 0.05, "inductance": 0.05,
    "inductance-empty": 0.05, "on-time": 0.001,
}  # fmt: skip


def model_doubt(key: str) -> float:
    """Relative doubt (one sigma) in what the model says a healthy machine reads."""
    return _MODEL_DOUBT.get(key, _USUAL_DOUBT)
