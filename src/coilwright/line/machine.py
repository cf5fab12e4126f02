"""The hand-over record: the section [machine] of a job, what was read when the machine was right."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Final, Literal

from pydantic import Field, ValidationError

from coilwright.errors import BadInput, Fault
from coilwright.job import Job
from coilwright.job.faults import section_faults
from coilwright.job.tables import Table
from coilwright.job.values import Line, as_written
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


# What can be read, in the words of the files. Uncertainties and minutes: memory.
READINGS: Final[dict[str, What]] = {
    "frequency": What("frequency", False, True, 1e-3, 3.0, "the frequency by counter or oscilloscope"),
    "q": What(None, False, True, 0.02, 10.0, "the loaded Q by ring-down with cold parts in place"),
    "q-empty": What(None, False, True, 0.01, 10.0, "the Q by ring-down with all parts out"),
    "coil-current": What("current", False, True, 0.02, 5.0, "the coil current by current transformer"),
    "tank-voltage": What("voltage", False, True, 0.03, 5.0, "the tank voltage by probe"),
    "source-power": What("power", False, True, 0.03, 2.0, "the power the source shows"),
    "outlet-rise": What("temperature_difference", False, True, 0.08, 4.0, "the rise of the cooling water"),
    "on-time": What("time", False, True, 0.01, 3.0, "the on-time by stopwatch or trace"),
    "mains": What("voltage", False, True, 0.01, 3.0, "the mains voltage under load (a licensed person's reading)"),
    "setting": What(None, False, True, 0.01, 1.0, "the setting of the power dial against the card"),
    "capacitance": What("capacitance", False, True, 0.01, 25.0, "the capacitance of the bank, isolated and proved dead"),
    "part-mass": What("mass", False, True, 0.01, 4.0, "the mass of ten parts on a balance"),
    "part-resistance": What("resistance", False, True, 0.03, 10.0, "the resistance of a part against one of a good lot"),
    "pick-up": What("voltage", True, True, 0.015, 15.0, "a pick-up loop on a dummy part at every station"),
    "gauge-step": What(None, True, True, 0.04, 20.0, "the step in Q when one known good part goes in and out, by station"),
    "start": What("time", True, True, 0.05, 2.0, "the start times of one tray by video"),
    "voltage-share": What(None, True, True, 0.02, 8.0, "the voltage of every coil as a share of the whole"),
    "setback": What("length", True, False, 0.1e-3, 6.0, "the setting gauge or a feeler at every coil nose"),
}  # fmt: skip


def place_faults(what: str, station: int | None) -> Iterator[tuple[str, str]]:
    """(key, sentence) where a reading is unknown, or its station is missing or does not belong."""
    known = READINGS.get(what)
    if known is None:
        yield "what", f'must be one of {", ".join(READINGS)}; received "{what[:40]}"'
    elif known.each and station is None:
        yield "station", f"{what} needs the number of its station"
    elif not known.each and station is not None:
        yield "station", f"{what} is read once for the whole machine: leave station out"


class HandOver(Table):
    """One value read at hand-over. `value` with its unit; `uncertainty` one sigma, same unit; `predicted` may be left
    out: the model fills it in. `repeats`: values of the same reading taken again, from which repeatability follows."""

    what: str
    value: str | float
    uncertainty: str | float | None = None
    station: Annotated[int, Field(strict=True, ge=1, le=64)] | None = None
    condition: Condition = "cold"
    state: State = "loaded"
    repeats: tuple[str | float, ...] = ()

    def clashes(self) -> Iterator[tuple[str, str]]:
        yield from place_faults(self.what, self.station)


class Moved(Table):
    """The guided step: one coil moved on purpose, and what that did. `change` maps a reading to its ratio after / before,
    at the moved station for readings taken at stations. It turns the computed sensitivity into a measured one."""

    station: Annotated[int, Field(strict=True, ge=1, le=64)]
    back: str
    change: Mapping[str, Annotated[float, Field(gt=0.0, allow_inf_nan=False)]]


class Machine(Table):
    """[machine]: date, who, mains, water, timer, gauge number, notes; [[machine.reading]] and [machine.moved]."""

    date: Line = ""
    by: Line = ""
    gauge: Line = ""
    notes: Line = ""
    accepted: Line = ""
    spread: Annotated[float, Field(gt=0.0, le=0.5)] = 0.04
    reading: tuple[HandOver, ...] = ()
    moved: Moved | None = None


@dataclass(frozen=True)
class Baseline:
    """Healthy values, SI, by (what, station or 0), with one sigma."""

    values: Mapping[tuple[str, int], tuple[float, float]]
    spread: float
    moved: tuple[int, float, Mapping[str, float]] | None


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
    raw: Any = job.later.get("machine", {})
    where = f"{job.name}: machine"
    if not isinstance(raw, Mapping):
        raise BadInput(Fault(where, "must be a table under its own heading [machine]"))
    try:
        return Machine.model_validate(raw)
    except ValidationError as error:
        raise BadInput(section_faults(where, Machine, raw, error, joint=".")) from None


def baseline(job: Job) -> Baseline:
    """Healthy values of the record in SI; repeats give the uncertainty where it is not stated."""
    record = read_machine(job)
    values: dict[tuple[str, int], tuple[float, float]] = {}
    for n, r in enumerate(record.reading, 1):
        if r.condition != "cold" or r.state != "loaded":
            continue
        where = f"{job.name}: machine.reading {n}"
        value = amount(r.value, r.what, where)
        values[r.what, r.station or 0] = (value, uncertainty_of(r, value, where))
    moved = None
    if record.moved is not None:
        moved = (record.moved.station, parse(record.moved.back, "length"), dict(record.moved.change))
    return Baseline(values, record.spread, moved)


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
