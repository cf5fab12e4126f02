"""The trial sheet: one small TOML file per run, as a person fills it in at the bench.

format = 1
[trial]
name = "T-014"                       # what the fitted job file will refer to
date = "2026-03-04"
coil = "C-22"                        # which coil hung there
gap = "1.0 mm"                       # as found, and how
gap_set_by = "feeler"
setting = "dial at 6"
outcome = "good mirror"
photo = "t014.jpg"
[changes]                            # where the trial was run otherwise than the job file says
"drive.on_time" = "6 s"
[trace]
start = "2.1 s"                      # when, in the trace, the power came on; left out: found from the trace
start_uncertainty = "0.2 s"
error = "3 K"                        # what all readings may be off together at the top of the trace, one sigma
[trace.columns]
"TC1" = "pyrometer spot"             # column = point, body, or "body: hottest"
[[event]]
what = "charge starts"               # charge starts | charge done | reaches | power off, or words for the record
at = "4.8 s"                         # after power on
[[reading]]
what = "coil current"
value = "131 A"
uncertainty = "3 %"
[water]                              # of the coil circuit, while heating steadily
flow = "1.1 L/min"
rise = "6.5 K"
source_power = "900 W"               # into the coil circuit, where it is known
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, ValidationError

from coilwright.errors import BadInput, Fault
from coilwright.job.faults import section_faults, suggestion
from coilwright.job.tables import Table
from coilwright.job.values import Instant, Line, Name, Power, Quantity, Temperature, Words
from coilwright.units import UnitFault, parse

# What a reading may be: its kind of quantity (units.KINDS), and the usual standard uncertainty where the sheet gives none
# (absolute in SI, share of the value). Common practice of the trade, no source.
READINGS: Mapping[str, tuple[str, float, float]] = {
    "frequency": ("frequency", 0.0, 0.001),
    "coil current": ("current", 0.0, 0.03),
    "coil voltage": ("voltage", 0.0, 0.03),
    "coil power": ("power", 0.0, 0.05),
    "inductance with part": ("inductance", 1e-9, 0.005),
    "inductance without part": ("inductance", 1e-9, 0.005),
    "inductance change": ("inductance", 0.4e-9, 0.0),
    "resistance with part": ("resistance", 0.0, 0.03),
    "resistance without part": ("resistance", 0.0, 0.03),
}
EVENTS = ("charge starts", "charge done", "reaches", "power off")
TIMED_BY: Mapping[str, float] = {"stopwatch": 0.2, "video": 0.04, "photodiode": 0.01, "logger": 0.02}

Positive = Annotated[float, Quantity("temperature_difference", above=0.0)]
Flow = Annotated[float, Quantity("flow", above=0.0)]
Written = Annotated[str, BeforeValidator(lambda v: v.isoformat() if isinstance(v, date) else v)]


class Heading(Table):
    """[trial]: the record. Everything but the name is for people."""

    name: Name
    date: Written = ""
    coil: Line = ""
    gap: Line = ""
    gap_set_by: Line = ""
    setting: Line = ""
    outcome: Line = ""
    photo: Line = ""
    remark: Words = ""
    next: Words = ""


class TraceTable(Table):
    """[trace]: how the temperature file is to be read."""

    start: Instant | None = None
    start_uncertainty: Instant | None = None
    error: Positive | None = None
    unit: Literal["degC", "degF", "K"] | None = None
    time_column: Line | None = None
    columns: dict[str, str] = Field(default_factory=dict, max_length=64)


class EventLine(Table):
    """[[event]]: something seen at a moment after power on."""

    what: Line
    at: Instant
    by: Literal["stopwatch", "video", "photodiode", "logger"] = "stopwatch"
    uncertainty: Instant | None = None
    temperature: Temperature | None = None
    where: Line | None = None

    def clashes(self) -> Iterator[tuple[str, str]]:
        if self.what == "reaches" and self.temperature is None:
            yield "temperature", 'is missing; an event that "reaches" says what, e.g. temperature = "700 degC"'
        if self.uncertainty is not None and self.uncertainty <= 0.0:
            yield "uncertainty", "must be above zero; a stopwatch is good for 0.2 s"

    @property
    def sigma(self) -> float:
        return self.uncertainty if self.uncertainty is not None else TIMED_BY[self.by]


class ReadingLine(Table):
    """[[reading]]: one electrical reading; `at` is a time after power on, left out for the cold part."""

    what: Line
    value: Line
    uncertainty: Line | None = None
    at: Instant = 0.0

    def clashes(self) -> Iterator[tuple[str, str]]:
        if self.what not in READINGS:
            yield "what", f"is not a reading a trial can use; {suggestion(self.what, READINGS)}"
            return
        for key, text in (("value", self.value), ("uncertainty", self.uncertainty)):
            if text is not None and not (key == "uncertainty" and text.strip().endswith("%")):
                try:
                    parse(text, READINGS[self.what][0])
                except UnitFault as fault:
                    yield key, str(fault)

    @property
    def amount(self) -> float:
        return parse(self.value, READINGS[self.what][0])

    @property
    def sigma(self) -> float:
        kind, absolute, share = READINGS[self.what]
        text = (self.uncertainty or "").strip()
        if text.endswith("%"):
            return abs(self.amount) * float(text[:-1]) / 100.0
        return parse(text, kind) if text else absolute + share * abs(self.amount)


class WaterTable(Table):
    """[water]: calorimetry of the coil circuit."""

    flow: Flow
    rise: Positive
    inlet: Temperature = 293.15
    source_power: Power | None = None


class TrialSheet(Table):
    """The whole sheet."""

    format: Literal[1] = 1
    trial: Heading
    changes: dict[str, Any] = Field(default_factory=dict)
    trace: TraceTable = TraceTable()
    event: Annotated[tuple[EventLine, ...], Field(max_length=100)] = ()
    reading: Annotated[tuple[ReadingLine, ...], Field(max_length=100)] = ()
    water: WaterTable | None = None


def blank_sheet(name: str) -> TrialSheet:
    """A sheet that says nothing but a name."""
    return TrialSheet(trial=Heading(name=name))


def read_sheet(path: Path) -> TrialSheet:
    """Read a trial sheet. Raises BadInput with one sentence per fault."""
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BadInput(Fault(str(path), f"is not a TOML file: {error}; see the example in the guide")) from None
    return sheet_from(raw, str(path))


def sheet_from(raw: Mapping[str, Any], where: str) -> TrialSheet:
    """The sheet from its nested tables. Raises BadInput with one sentence per fault."""
    try:
        return TrialSheet.model_validate(dict(raw))
    except ValidationError as error:
        raise BadInput(section_faults(where, TrialSheet, raw, error)) from None
