"""The map of a shot log: which column, or key of a message, holds what, in which unit.

    machine = "press 2"                       # one map, one machine
    stations = 6
    delimiter = ";"                           # default ","
    decimal = ","                             # default "."
    time_format = "%d.%m.%Y %H:%M:%S"         # default ISO 8601; or "seconds", "milliseconds" since 1970
    [columns]                                 # of a message: its keys; "press.nest" is the key nest within press
    time = "Zeit"
    station = "Nest"
    result = "Ergebnis"
    tray = "Tray"                             # tray, batch, recipe may be missing
    [result]
    good = ["OK", "1"]                        # of a message: true and false are the texts "true" and "false"
    bad = ["NOK", "0"]
    [readings.start]                          # any number of readings, kept in SI
    column = "t start"
    unit = "ms"
    kind = "time"
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated

from pydantic import Field, StringConstraints, ValidationError

from coilwright.errors import BadInput, Fault
from coilwright.job.faults import section_faults
from coilwright.job.tables import Table
from coilwright.units import KINDS, UnitFault, factor

Text = Annotated[str, StringConstraints(min_length=1, max_length=80)]
LATE = 7 * 86400.0  # s: rows of a delivery may be older than the newest kept shot by a week (a lap-top brought along)


class Columns(Table):
    """Names of the columns as in the file's first line."""

    time: Text
    station: Text
    result: Text
    tray: Text | None = None
    batch: Text | None = None
    recipe: Text | None = None


class Results(Table):
    """What stands in the result column for good and for bad pieces."""

    good: tuple[Text, ...] = ("good", "OK", "ok", "1")
    bad: tuple[Text, ...] = ("bad", "NOK", "nok", "0")


class ReadingColumn(Table):
    """A column of a measured value, its unit and its kind (a key of units.KINDS)."""

    column: Text
    unit: Text
    kind: Text


class LogMap(Table):
    """The map of a log file."""

    machine: Text
    stations: Annotated[int, Field(strict=True, ge=1, le=1000)]
    columns: Columns
    result: Results = Results()
    delimiter: Annotated[str, StringConstraints(min_length=1, max_length=1)] = ","
    decimal: Annotated[str, StringConstraints(min_length=1, max_length=1)] = "."
    time_format: Text | None = None
    late_after_days: Annotated[float, Field(gt=0.0)] = LATE / 86400.0
    readings: Mapping[str, ReadingColumn] = {}

    def clashes(self) -> Iterator[tuple[str, str]]:
        if set(self.result.good) & set(self.result.bad):
            yield "result", "must not name the same text as good and as bad"
        if self.delimiter == self.decimal:
            yield "decimal", "must differ from the delimiter between columns"


def read_map(path: Path) -> LogMap:
    """The map of a log's columns. Raises BadInput with one sentence per fault."""
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BadInput(Fault(str(path), f"must be a TOML file in UTF-8; {error}")) from None
    try:
        found = LogMap.model_validate(raw)
    except ValidationError as error:
        raise BadInput(section_faults(str(path), LogMap, raw, error)) from None
    for name, reading in found.readings.items():
        where = f"{path}: readings.{name}"
        if reading.kind not in KINDS:
            raise BadInput(Fault(f"{where}.kind", f'must be one of {", ".join(KINDS)}; received "{reading.kind}"'))
        if reading.kind == "temperature":
            continue
        try:
            factor(reading.unit, KINDS[reading.kind][0])
        except UnitFault as error:
            raise BadInput(Fault(f"{where}.unit", f"{error} ({reading.kind})")) from None
    return found
