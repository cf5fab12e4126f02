"""The shot log: a file of a machine read with a small map of its columns, faulty rows kept aside with the reason.

The map (TOML):

    machine = "press 2"                       # one file, one machine
    stations = 6
    delimiter = ";"                           # default ","
    decimal = ","                             # default "."
    time_format = "%d.%m.%Y %H:%M:%S"         # default: ISO 8601
    [columns]
    time = "Zeit"
    station = "Nest"
    result = "Ergebnis"
    tray = "Tray"                             # tray, batch, recipe may be missing
    [result]
    good = ["OK", "1"]
    bad = ["NOK", "0"]
    [readings.start]                          # any number of readings, kept in SI
    column = "t start"
    unit = "ms"
    kind = "time"
"""

from __future__ import annotations

import csv
import hashlib
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, StringConstraints, ValidationError

from coilwright.errors import BadInput, Fault
from coilwright.job.faults import section_faults
from coilwright.job.tables import Table
from coilwright.store.shots import Aside, Delivery, Shot, ShotStore
from coilwright.units import KINDS, UnitFault, factor

Text = Annotated[str, StringConstraints(min_length=1, max_length=80)]
_LATE = 7 * 86400.0  # s: rows of a delivery may be older than the newest kept shot by a week (a lap-top brought along)
_BACK = 600.0  # s: rows may stand out of order by ten minutes; more is a clock that was set back
_PART = 50_000  # rows held in memory at a time
_AHEAD = 86400.0  # s after now: time zones are forgiven, the year 2099 is not


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
    late_after_days: Annotated[float, Field(gt=0.0)] = _LATE / 86400.0
    readings: Mapping[str, ReadingColumn] = {}

    def clashes(self) -> Iterator[tuple[str, str]]:
        if set(self.result.good) & set(self.result.bad):
            yield "result", "must not name the same text as good and as bad"
        if self.delimiter == self.decimal:
            yield "decimal", "must differ from the delimiter between columns"


@dataclass(frozen=True)
class Imported:
    """What became of a file: rows read, written, already there, set aside by reason."""

    file: str
    machine: str
    rows: int
    written: int
    known: int
    aside: Mapping[str, int] = field(default_factory=dict)

    def to_dict(self) -> dict[str, Any]:
        return {
            "file": self.file,
            "machine": self.machine,
            "rows": self.rows,
            "written": self.written,
            "known": self.known,
            "aside": dict(self.aside),
        }


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


def add_log(path: Path, mapping: LogMap, store: ShotStore, now: float | None = None) -> Imported:
    """Read a log file into the store. Reading it twice changes nothing. Raises BadInput when the file is not of its map."""
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    reader = _RowReader(path.name, mapping, datetime.now(UTC).timestamp() if now is None else now)
    with path.open(encoding="utf-8-sig", newline="", errors="replace") as file, \
            store.delivery(mapping.machine, path.name, digest) as box:  # fmt: skip
        rows = csv.reader(file, delimiter=mapping.delimiter)
        written = known = 0
        latest = box.latest()
        try:
            reader.head(next(rows, []))
            for part in reader.read(rows):
                new, there = _new_ones(part, reader.aside, box, mapping, latest)
                written, known = written + box.add(new), known + there
        except csv.Error as error:
            raise BadInput(Fault(f"{path}: line {rows.line_num}", f"cannot be read as columns: {error}")) from None
        box.set_aside(reader.aside)
    return Imported(path.name, mapping.machine, reader.rows, written, known, Counter(a.reason for a in reader.aside))


_Key = tuple[float, int, str]
_Part = dict[_Key, tuple[Shot, int, list[str]]]


def _new_ones(
    part: _Part, aside: list[Aside], box: Delivery, mapping: LogMap, latest: float | None
) -> tuple[list[Shot], int]:
    """Shots not kept yet, and the number that were; contradictions with what is kept, and late ones, go aside."""
    if not part:
        return [], 0
    times = [key[0] for key in part]
    kept = box.kept(min(times), max(times)) if latest is not None else {}
    oldest = -1e300 if latest is None else latest - 86400.0 * mapping.late_after_days
    new, known = [], 0
    for key, (shot, row, cells) in part.items():
        before = kept.get(key)
        if before is None and shot.time >= oldest:
            new.append(shot)
        elif before == (shot.bad, shot.batch, shot.recipe):
            known += 1
        elif before is None:
            why = f"is more than {mapping.late_after_days:g} days older than the newest shot kept before this file"
            aside.append(Aside(row, "late", why, mapping.delimiter.join(cells)))
        else:
            why = "tells another result, batch or recipe than the same shot kept before"
            aside.append(Aside(row, "contradiction", why, mapping.delimiter.join(cells)))
    return new, known


class _RowReader:
    def __init__(self, name: str, mapping: LogMap, now: float) -> None:
        self.name, self.map, self.now = name, mapping, now
        self.rows = 0
        self.aside: list[Aside] = []
        self._seen: dict[_Key, int] = {}
        self._good, self._bad = frozenset(mapping.result.good), frozenset(mapping.result.bad)
        self._read: list[tuple[str, int, float, float]] = []

    def head(self, names: list[str]) -> None:
        """Find the columns in the first line."""
        place = {n.strip(): k for k, n in enumerate(names)}
        columns = self.map.columns
        wanted = {k: v for k, v in columns.model_dump().items() if v is not None}
        missing = [v for v in (*wanted.values(), *(r.column for r in self.map.readings.values())) if v not in place]
        if missing:
            known = ", ".join(f'"{n}"' for n in place if n) or "nothing"
            what = f'must name the column "{missing[0]}" of the map; the first line has {known[:300]}'
            raise BadInput(Fault(f"{self.name}: line 1", what))
        self._time, self._station, self._result = place[columns.time], place[columns.station], place[columns.result]
        self._tray, self._batch, self._recipe = (
            None if c is None else place[c] for c in (columns.tray, columns.batch, columns.recipe)
        )
        self._width = len(names)
        for name, r in self.map.readings.items():
            scale, offset = (1.0, 273.15) if r.kind == "temperature" else (factor(r.unit, KINDS[r.kind][0]), 0.0)
            if r.kind == "temperature" and r.unit == "K":
                offset = 0.0
            self._read.append((name, place[r.column], scale, offset))

    def read(self, rows: Iterable[list[str]]) -> Iterator[_Part]:
        """Good rows in parts of bounded size; the others go aside."""
        newest = -1e300
        part: _Part = {}
        for number, cells in enumerate(rows, 2):
            if not cells:
                continue
            self.rows += 1
            try:
                shot = self._shot(cells)
                self._hold_clock(shot.time, newest)
            except _Refused as refused:
                self.aside.append(Aside(number, refused.reason, refused.why, self.map.delimiter.join(cells)))
                continue
            newest = max(newest, shot.time)
            key = (shot.time, shot.station, shot.tray)
            first = self._seen.setdefault(key, number)
            if first != number:
                why = f"is the same station, time and tray as row {first}"
                self.aside.append(Aside(number, "duplicate", why, self.map.delimiter.join(cells)))
                continue
            part[key] = (shot, number, cells)
            if len(part) >= _PART:
                yield part
                part = {}
        yield part

    def _hold_clock(self, time: float, newest: float) -> None:
        if time > self.now + _AHEAD:
            raise _Refused("future", "has a time after today: was the clock set?")
        if time < newest - _BACK:
            back = newest - time
            raise _Refused("clock", f"goes back {back:.0f} s behind the rows before it: was the clock set back?")

    def _shot(self, cells: list[str]) -> Shot:
        if len(cells) != self._width:
            raise _Refused("half-written", f"has {len(cells)} columns of {self._width}")
        result = cells[self._result].strip()
        bad = result in self._bad
        if not bad and result not in self._good:
            if not result:
                raise _Refused("half-written", "has no result")
            raise _Refused(
                "unknown result", f'has the result "{result[:40]}", which the map calls neither good nor bad'
            )
        station = self._station_of(cells[self._station].strip())
        tray, batch, recipe = (
            "" if k is None else cells[k].strip()[:80] for k in (self._tray, self._batch, self._recipe)
        )
        return Shot(self._instant(cells[self._time].strip()), station, bad, tray, batch, recipe, self._readings(cells))

    def _station_of(self, text: str) -> int:
        if not text:
            raise _Refused("half-written", "has no station")
        if not text.isdecimal() or not 1 <= int(text) <= self.map.stations:
            raise _Refused("unknown station", f'names the station "{text[:40]}"; known are 1 to {self.map.stations}')
        return int(text)

    def _instant(self, text: str) -> float:
        if not text:
            raise _Refused("half-written", "has no time")
        form = self.map.time_format
        try:
            found = datetime.fromisoformat(text) if form is None else datetime.strptime(text, form)
            return (found if found.tzinfo is not None else found.replace(tzinfo=UTC)).timestamp()
        except (ValueError, OverflowError):
            raise _Refused(
                "unreadable time", f'has the time "{text[:40]}", which is not {form or "ISO 8601"}'
            ) from None

    def _readings(self, cells: list[str]) -> dict[str, float] | None:
        out = {}
        for name, place, scale, offset in self._read:
            text = cells[place].strip()
            if not text:
                continue
            try:
                value = float(text.replace(self.map.decimal, ".") if self.map.decimal != "." else text) * scale + offset
            except ValueError:
                raise _Refused("unreadable reading", f'has "{text[:40]}" for {name}, which is not a number') from None
            if not abs(value) < 1e300:
                raise _Refused("unreadable reading", f'has "{text[:40]}" for {name}, which is not finite')
            out[name] = value
        return out or None


class _Refused(Exception):
    def __init__(self, reason: str, why: str) -> None:
        super().__init__(why)
        self.reason, self.why = reason, why
