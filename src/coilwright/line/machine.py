"""The hand-over record: the section [machine] of a job, what was read when the machine was right."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Final, Literal

from pydantic import Field

from coilwright.errors import BadInput, Fault
from coilwright.job import Job
from coilwright.job.later import read_later
from coilwright.job.schema_fixture import Control, read_fixture
from coilwright.job.tables import Table
from coilwright.job.values import Line, as_written
from coilwright.readings.worth import WORTH
from coilwright.units import UnitFault, parse

Condition = Literal["cold", "hot"]
State = Literal["loaded", "empty"]


@dataclass(frozen=True)
class What:
    """A kind of reading: `kind` of its unit (None: a plain number), whether one stands at every station, whether its
    ratio to the healthy value counts or the difference, its usual standard uncertainty (ratio, or SI for differences), and
    the minutes it costs to take. Costs and uncertainties from memory: trade practice, to be replaced by one's own."""

    kind: str | None
    each: bool
    ratio: bool
    sigma: float
    minutes: float
    asked: str


# What can be read, in the words of the files. Uncertainties not taken from WORTH, and minutes: memory.
READINGS: Final[dict[str, What]] = {
    "frequency": What("frequency", False, True, WORTH["frequency"], 3.0, "the frequency by counter or oscilloscope"),
    "q": What(None, False, True, WORTH["q"], 10.0, "the loaded Q by ring-down with cold parts in place"),
    "q-empty": What(None, False, True, 0.01, 10.0, "the Q by ring-down with all parts out"),
    "coil-current": What("current", False, True, WORTH["coil-current"], 5.0, "the coil current by current transformer"),
    "tank-voltage": What("voltage", False, True, WORTH["tank-voltage"], 5.0, "the tank voltage by probe"),
    "source-power": What("power", False, True, WORTH["source-power"], 2.0, "the power the source shows"),
    "outlet-rise": What("temperature_difference", False, True, 0.08, 4.0, "the rise of the cooling water"),
    "on-time": What("time", False, True, 0.01, 3.0, "the on-time by stopwatch or trace"),
    "mains": What("voltage", False, True, 0.01, 3.0, "the mains voltage under load (a licensed person's reading)"),
    "setting": What(None, False, True, 0.01, 1.0, "the setting of the power dial against the card"),
    "capacitance": What("capacitance", False, True, 0.01, 25.0, "the capacitance of the bank, isolated and proved dead"),
    "part-mass": What("mass", False, True, 0.01, 4.0, "the mass of ten parts on a balance"),
    "part-resistance": What("resistance", False, True, 0.03, 10.0, "the resistance of a part against one of a good lot"),
    "flow": What("flow", False, True, 0.04, 4.0, "the water flow of the whole machine, by bucket and watch"),
    "frequency-empty": What("frequency", False, True, 1e-3, 5.0, "the frequency with all parts out"),
    "coil-current-empty": What("current", False, True, 0.02, 5.0, "the coil current with all parts out, at the same setting"),
    "source-power-empty": What("power", False, True, 0.03, 4.0, "the power the source shows with all parts out"),
    "frequency-hot": What("frequency", False, True, 1e-3, 3.0, "the frequency at the end of the on-time"),
    "q-hot": What(None, False, True, 0.03, 12.0, "the Q by ring-down at switch-off, parts still hot"),
    "coil-current-hot": What("current", False, True, 0.02, 5.0, "the coil current at the end of the on-time"),
    "tank-voltage-hot": What("voltage", False, True, 0.03, 5.0, "the tank voltage at the end of the on-time"),
    "source-power-hot": What("power", False, True, 0.03, 3.0, "the power the source shows at the end of the on-time"),
    "pick-up": What("voltage", True, True, WORTH["pick-up"], 15.0, "a pick-up loop on a dummy part at every station"),
    "gauge-step": What(None, True, True, 0.04, 20.0, "the step in Q when one known good part goes in and out, by station"),
    "start": What("time", True, True, 0.05, 2.0, "the start times of one tray by video"),
    "total": What("time", True, True, 0.04, 2.0, "the times until done of another tray by video"),
    "inductance": What("inductance", True, True, 5e-3, 20.0, "the inductance of every coil with a cold part in, by LCR meter"),
    "resistance": What("resistance", True, True, 0.02, 20.0, "the resistance of every coil with a cold part in, by LCR meter"),
    "inductance-empty": What("inductance", True, True, 5e-3, 15.0, "the inductance of every empty coil, by LCR meter"),
    "resistance-empty": What("resistance", True, True, 0.02, 15.0, "the resistance of every empty coil, by LCR meter"),
    "voltage-share": What(None, True, True, WORTH["voltage-share"], 8.0, "the voltage of every coil as a share of the whole"),
    "setback": What("length", True, False, WORTH["setback"], 6.0, "the setting gauge or a feeler at every coil nose"),
}  # fmt: skip


def key_of(what: str, condition: Condition, state: State) -> str:
    """The key of READINGS: "frequency" read hot is "frequency-hot", read with all parts out "frequency-empty"."""
    return what + ("-hot" if condition == "hot" else "") + ("-empty" if state == "empty" else "")


def place_faults(
    what: str, station: int | None, condition: Condition = "cold", state: State = "loaded"
) -> Iterator[tuple[str, str]]:
    """(key, sentence) where a reading is unknown, or its station is missing or does not belong."""
    known = READINGS.get(what)
    if known is None:
        yield "what", f'must be one of {", ".join(READINGS)}; received "{what[:40]}"'
    elif key_of(what, condition, state) not in READINGS:
        end = "-hot" if condition == "hot" else "-empty"
        may = ", ".join(k.removesuffix(end) for k in READINGS if k.endswith(end))
        yield ("condition" if condition == "hot" else "state"), f"{what} is not read {end[1:]}, only {may} are; take it out"
    elif known.each and station is None:
        yield "station", f"{what} needs the number of its station"
    elif not known.each and station is not None:
        yield "station", f"{what} is read once for the whole machine: leave station out"


class HandOver(Table):
    """One value read at hand-over. `value` with its unit; `uncertainty` one sigma, same unit; `condition`, `state`: read
    with hot parts, or with all parts out. `repeats`: the same reading taken again, from which repeatability follows."""

    what: str
    value: str | float
    uncertainty: str | float | None = None
    station: Annotated[int, Field(strict=True, ge=1, le=64)] | None = None
    condition: Condition = "cold"
    state: State = "loaded"
    repeats: tuple[str | float, ...] = ()

    def clashes(self) -> Iterator[tuple[str, str]]:
        yield from place_faults(self.what, self.station, self.condition, self.state)

    @property
    def key(self) -> str:
        return key_of(self.what, self.condition, self.state)


class MovedReading(Table):
    """One reading before and after the coil was moved; `uncertainty` one sigma of either."""

    what: str
    before: str | float
    after: str | float
    uncertainty: str | float | None = None
    condition: Condition = "cold"
    state: State = "loaded"

    def clashes(self) -> Iterator[tuple[str, str]]:
        known = READINGS.get(self.what)
        yield from place_faults(self.what, 1 if known is not None and known.each else None, self.condition, self.state)


class Moved(Table):
    """The guided step: one coil moved on purpose, and what that did. Readings taken at stations are those of the moved one.

    `back_uncertainty`: one sigma of the movement (a feeler gauge, from memory). `change` is a short way of writing: the ratio
    after / before of a reading, with its usual uncertainty.
    """

    station: Annotated[int, Field(strict=True, ge=1, le=64)]
    back: str
    back_uncertainty: str = "0.05 mm"
    reading: tuple[MovedReading, ...] = ()
    change: Mapping[str, Annotated[float, Field(gt=0.0, allow_inf_nan=False)]] = {}


class Machine(Table):
    """[machine]: date, who, mains, water, timer, gauge number, notes; [[machine.reading]] and [machine.moved]. `control`: what
    the source was seen to hold, which must agree with [fixture]."""

    date: Line = ""
    by: Line = ""
    gauge: Line = ""
    notes: Line = ""
    accepted: Line = ""
    control: Control | None = None
    spread: Annotated[float, Field(gt=0.0, le=0.5)] = 0.04
    reading: tuple[HandOver, ...] = ()
    moved: Moved | None = None


@dataclass(frozen=True)
class Signature:
    """What one coil moved on purpose did: `station`, `back` and `back_sigma` (m), and by reading the ln of the ratio
    after / before with one sigma."""

    station: int
    back: float
    back_sigma: float
    changes: Mapping[str, tuple[float, float]]


@dataclass(frozen=True)
class Baseline:
    """Healthy values, SI, by (what, station or 0), with one sigma."""

    values: Mapping[tuple[str, int], tuple[float, float]]
    spread: float
    moved: Signature | None


def amount(value: object, what: str, where: str) -> float:
    """SI value of a reading as written; plain readings (Q, shares, dial) are numbers. Raises BadInput."""
    known = READINGS.get(what)
    if known is None:
        raise BadInput(Fault(f"{where}.what", f"must be one of {', '.join(READINGS)}; received {as_written(what)}"))
    if known.kind is None:
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise BadInput(Fault(f"{where}.value", f"{what} is a plain number; received {as_written(value)}"))
        return float(value)
    try:
        return parse(value, known.kind)
    except UnitFault as fault:
        raise BadInput(Fault(f"{where}.value", str(fault))) from None


def read_machine(job: Job) -> Machine:
    """The hand-over record of a job, empty when it has none. Raises BadInput with one sentence per fault."""
    record = read_later(job, "machine", Machine) or Machine()
    held = read_fixture(job).control
    if record.control is not None and record.control != held:
        what = f'is "{record.control}", but fixture.control is "{held}": the readings mean something else; make them agree'
        raise BadInput(Fault(f"{job.name}: machine.control", what))
    return record


def baseline(job: Job) -> Baseline:
    """Healthy values of the record in SI, hot and empty ones under keys of their own; repeats give the uncertainty where it
    is not stated."""
    record = read_machine(job)
    values: dict[tuple[str, int], tuple[float, float]] = {}
    for n, r in enumerate(record.reading, 1):
        where = f"{job.name}: machine.reading {n}"
        value = amount(r.value, r.what, where)
        values[r.key, r.station or 0] = (value, uncertainty_of(r, value, where))
    moved = None if record.moved is None else _signature(record.moved, f"{job.name}: machine.moved")
    return Baseline(values, record.spread, moved)


def _signature(moved: Moved, where: str) -> Signature:
    back, doubt = (_length(getattr(moved, k), f"{where}.{k}") for k in ("back", "back_uncertainty"))
    if not 1e-5 <= abs(back) <= 0.05 or doubt < 0.0:
        raise BadInput(Fault(f"{where}.back", f"must be a movement between 0.01 mm and 50 mm; received {1e3 * back:g} mm"))
    changes = {}
    for what, ratio in moved.change.items():
        if what not in READINGS or not READINGS[what].ratio:
            raise BadInput(Fault(f"{where}.change", f'has no place for "{what[:40]}"; name a reading that is told as a ratio'))
        changes[what] = (math.log(ratio), math.sqrt(2.0) * READINGS[what].sigma)
    for n, r in enumerate(moved.reading, 1):
        here, key = f"{where}.reading {n}", key_of(r.what, r.condition, r.state)
        known = READINGS[key]
        before, after = amount(r.before, key, f"{here}.before"), amount(r.after, key, f"{here}.after")
        if not known.ratio or not (before > 0.0 and after > 0.0):
            raise BadInput(Fault(here, f"{key} must be a reading told as a ratio, greater than zero before and after"))
        sigma = known.sigma if r.uncertainty is None else amount(r.uncertainty, key, f"{here}.uncertainty") / before
        changes[key] = (math.log(after / before), max(math.hypot(sigma, sigma * before / after), 1e-6))
    return Signature(moved.station, back, abs(doubt), changes)


def _length(text: str, where: str) -> float:
    try:
        return parse(text, "length")
    except UnitFault as fault:
        raise BadInput(Fault(where, str(fault))) from None


def uncertainty_of(reading: HandOver, value: float, where: str) -> float:
    """One sigma of a reading, SI: as stated, else from its repeats, else the usual one of its kind. Raises BadInput."""
    known = READINGS[reading.what]
    if reading.uncertainty is not None:
        return abs(amount(reading.uncertainty, reading.what, f"{where}.uncertainty"))
    if len(reading.repeats) >= 2:
        again = [value, *(amount(x, reading.what, f"{where}.repeats") for x in reading.repeats)]
        mean = math.fsum(again) / len(again)
        return math.sqrt(math.fsum((x - mean) ** 2 for x in again) / (len(again) - 1))
    return known.sigma * (abs(value) if known.ratio else 1.0)
