"""One row of a log to one shot, or the reason why not: the same rules for files and for messages."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime

from coilwright.errors import BadInput, Fault
from coilwright.line.mapping import LogMap
from coilwright.store.shots import Aside, Shot
from coilwright.units import KINDS, factor

BACK = 600.0  # s: rows may stand out of order by ten minutes; more is a clock that was set back
_PART = 50_000  # rows held in memory at a time
_AHEAD = 86400.0  # s after now: time zones are forgiven, the year 2099 is not
_FARTHEST = 1e11  # s
_SINCE_1970 = {"seconds": 1.0, "milliseconds": 1e-3}

Key = tuple[float, int, str]
Part = dict[Key, tuple[Shot, int, list[str]]]


class Refused(Exception):
    """A row that cannot be taken: a stable `reason`, and `why` in words."""

    def __init__(self, reason: str, why: str) -> None:
        super().__init__(why)
        self.reason, self.why = reason, why


def hold_same(shot: Shot, before: tuple[bool, str, str]) -> None:
    """Raises Refused when the shot kept before under the same key tells something else."""
    if before != (shot.bad, shot.batch, shot.recipe):
        raise Refused("contradiction", "tells another result, batch or recipe than the same shot kept before")


def hold_fresh(shot: Shot, latest: float | None, gone: float | None, mapping: LogMap) -> None:
    """Raises Refused when the shot is older than the map allows against the newest one kept, or from before `gone`, up to
    when shots are kept as sums only."""
    if gone is not None and shot.time < gone:
        day = datetime.fromtimestamp(gone, UTC).strftime("%Y-%m-%d")
        raise Refused("summarised", f"is from before {day}, kept as sums only: whether it is among them cannot be told")
    if latest is not None and shot.time < latest - 86400.0 * mapping.late_after_days:
        days = mapping.late_after_days
        raise Refused("late", f"is more than {days:g} days older than the newest shot kept before")


class RowReader:
    """Rows of one source by its map. `rows` counts what was read, `aside` holds what was refused."""

    def __init__(self, name: str, mapping: LogMap, now: float) -> None:
        self.name, self.map, self.now = name, mapping, now
        self.rows = 0
        self.aside: list[Aside] = []
        self._seen: dict[Key, int] = {}
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

    def read(self, rows: Iterable[list[str]]) -> Iterator[Part]:
        """Good rows in parts of bounded size; the others go aside."""
        newest = -1e300
        part: Part = {}
        for number, cells in enumerate(rows, 2):
            if not cells:
                continue
            self.rows += 1
            try:
                shot = self.shot(cells)
                self.hold_clock(shot.time, newest)
            except Refused as refused:
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

    def hold_clock(self, time: float, newest: float) -> None:
        """Raises Refused for a time after today, or far behind the newest one of this source."""
        if time > self.now + _AHEAD:
            raise Refused("future", "has a time after today: was the clock set?")
        if time < newest - BACK:
            back = newest - time
            raise Refused("clock", f"goes back {back:.0f} s behind the rows before it: was the clock set back?")

    def shot(self, cells: list[str]) -> Shot:
        """The shot of one row. Raises Refused."""
        if len(cells) != self._width:
            raise Refused("half-written", f"has {len(cells)} columns of {self._width}")
        result = cells[self._result].strip()
        bad = result in self._bad
        if not bad and result not in self._good:
            if not result:
                raise Refused("half-written", "has no result")
            raise Refused("unknown result", f'has the result "{result[:40]}", which the map calls neither good nor bad')
        station = self._station_of(cells[self._station].strip())
        tray, batch, recipe = (
            "" if k is None else cells[k].strip()[:80] for k in (self._tray, self._batch, self._recipe)
        )
        if "\0" in tray or "\0" in batch or "\0" in recipe:
            raise Refused("half-written", "holds zero bytes, as files do after a power cut")
        return Shot(self._instant(cells[self._time].strip()), station, bad, tray, batch, recipe, self._readings(cells))

    def _station_of(self, text: str) -> int:
        if not text:
            raise Refused("half-written", "has no station")
        if not text.isdecimal() or not 1 <= int(text) <= self.map.stations:
            raise Refused("unknown station", f'names the station "{text[:40]}"; known are 1 to {self.map.stations}')
        return int(text)

    def _instant(self, text: str) -> float:
        if not text:
            raise Refused("half-written", "has no time")
        form = self.map.time_format
        try:
            if form in _SINCE_1970:
                seconds = float(text) * _SINCE_1970[form]
                if not abs(seconds) < _FARTHEST:
                    raise ValueError(text)
                return seconds
            found = datetime.fromisoformat(text) if form is None else datetime.strptime(text, form)
            return (found if found.tzinfo is not None else found.replace(tzinfo=UTC)).timestamp()
        except (ValueError, OverflowError):
            known = f"a number of {form}" if form in _SINCE_1970 else form or "ISO 8601"
            raise Refused("unreadable time", f'has the time "{text[:40]}", which is not {known}') from None

    def _readings(self, cells: list[str]) -> dict[str, float] | None:
        out = {}
        for name, place, scale, offset in self._read:
            text = cells[place].strip()
            if not text:
                continue
            try:
                value = float(text.replace(self.map.decimal, ".") if self.map.decimal != "." else text) * scale + offset
            except ValueError:
                raise Refused("unreadable reading", f'has "{text[:40]}" for {name}, which is not a number') from None
            if not abs(value) < 1e300:
                raise Refused("unreadable reading", f'has "{text[:40]}" for {name}, which is not finite')
            out[name] = value
        return out or None
