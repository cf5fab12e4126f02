"""Old shots as sums: what is dropped is counted first, and nothing is dropped that was not counted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from coilwright.errors import BadInput, CoilwrightError, Fault
from coilwright.store.shots import ShotStore
from coilwright.store.tables import machine, reading_summary, shot, shot_summary, tray_summary

_DAY = 86400.0
_hour = sa.cast(sa.func.floor(shot.c.time / 3600.0), sa.Integer)
_day = sa.cast(sa.func.floor(shot.c.time / _DAY), sa.Integer)


@dataclass(frozen=True)
class Summarised:
    """What was done for one machine: shots from `first` to before `until` (s) became so many rows of sums."""

    machine: str
    shots: int
    bad: int
    first: float | None
    until: float
    shot_rows: int
    readings: tuple[str, ...]
    reading_rows: int
    tray_rows: int
    done: bool

    def to_dict(self) -> dict[str, Any]:
        return {
            "machine": self.machine,
            "shots": self.shots,
            "bad": self.bad,
            "first": None if self.first is None else _date(self.first),
            "until": _date(self.until),
            "hourly_rows": self.shot_rows,
            "readings": list(self.readings),
            "reading_rows": self.reading_rows,
            "tray_rows": self.tray_rows,
            "done": self.done,
        }

    def __str__(self) -> str:
        if not self.shots or self.first is None:
            return f"{self.machine}: no single shots from before {_date(self.until)}"
        verb = "are now kept as" if self.done else "would be kept as"
        out = (
            f"{self.machine}: {self.shots} shots ({self.bad} bad) of {_date(self.first)} to before {_date(self.until)} {verb} "
            f"{self.shot_rows} sums by hour, station, lot and recipe, and {self.tray_rows} by day of the trays"
        )
        if self.readings:
            out += f"; {', '.join(self.readings)} as {self.reading_rows} numbers, means and spreads by hour and station"
        return out + "; which piece lay on which tray is not kept"


def _date(seconds: float) -> str:
    return datetime.fromtimestamp(seconds, UTC).strftime("%Y-%m-%d")


def summarise(store: ShotStore, name: str, days: float, dry: bool = False) -> Summarised:
    """Keep shots older than `days` before the machine's newest one as sums, whole days at a time, and drop them singly.

    All or nothing; `dry` says what would become of them and changes nothing. Raises BadInput.
    """
    if not days >= 1.0:
        raise BadInput(Fault("days", f"must be at least 1; received {days:g}"))
    with store.writing() as connection:
        mine = connection.scalar(sa.select(machine.c.id).where(machine.c.name == name))
        newest = connection.scalar(sa.select(sa.func.max(shot.c.time)).where(shot.c.machine_id == mine))
        if mine is None or newest is None:
            raise BadInput(Fault(store.place, f'has no single shots of machine "{name}"'))
        until = _DAY * ((float(newest) - _DAY * days) // _DAY)
        old = sa.and_(shot.c.machine_id == mine, shot.c.time < until)
        count = sa.select(sa.func.count(), sa.func.coalesce(sa.func.sum(shot.c.bad), 0), sa.func.min(shot.c.time))
        shots, bad, first = connection.execute(count.where(old)).one()
        change = connection.begin_nested()
        rows = _sum_shots(connection, mine, old, int(shots), int(bad))
        names = _names(connection, old)
        reading_rows = sum(_sum_reading(connection, mine, old, reading) for reading in names)
        tray_rows = _sum_trays(connection, mine, old)
        gone = connection.execute(shot.delete().where(old)).rowcount
        if gone != shots:
            raise CoilwrightError(
                f"{store.place}: {shots} shots were counted and {gone} would be dropped; nothing was changed"
            )
        if dry:
            change.rollback()
    start = None if first is None else float(first)
    return Summarised(name, int(shots), int(bad), start, until, rows, names, reading_rows, tray_rows, not dry)


def _sum_shots(connection: sa.Connection, mine: int, old: Any, shots: int, bad: int) -> int:
    keys = _hour, shot.c.station, shot.c.batch, shot.c.recipe
    sums = sa.select(sa.literal(mine), *keys, sa.func.count(), sa.func.sum(shot.c.bad)).where(old).group_by(*keys)
    columns = ["machine_id", "hour", "station", "batch", "recipe", "tried", "bad"]
    before = _totals(connection, mine)
    rows = connection.execute(shot_summary.insert().from_select(columns, sums)).rowcount
    after = _totals(connection, mine)
    if (after[0] - before[0], after[1] - before[1]) != (shots, bad):
        raise CoilwrightError("the sums do not agree with the shots; nothing was changed")
    return int(rows)


def _totals(connection: sa.Connection, mine: int) -> tuple[int, int]:
    c = shot_summary.c
    sums = (sa.func.coalesce(sa.func.sum(x), 0) for x in (c.tried, c.bad))
    tried, bad = connection.execute(sa.select(*sums).where(c.machine_id == mine)).one()
    return int(tried), int(bad)


def _names(connection: sa.Connection, old: Any) -> tuple[str, ...]:
    """Names of all readings among the old shots."""
    if connection.dialect.name == "postgresql":
        whole = sa.func.json_typeof(shot.c.readings) == "object"
        held = sa.case((whole, shot.c.readings), else_=sa.text("'{}'::json"))
        keys = sa.func.json_object_keys(held).table_valued("key").render_derived()
    else:
        keys = sa.func.json_each(shot.c.readings).table_valued("key")
    found = connection.scalars(sa.select(keys.c.key).select_from(shot.join(keys, sa.true())).where(old).distinct())
    return tuple(sorted(str(x) for x in found if x is not None))


def _sum_reading(connection: sa.Connection, mine: int, old: Any, name: str) -> int:
    value = shot.c.readings[name].as_float()
    there = sa.and_(old, value.is_not(None))
    usual = connection.scalar(sa.select(value).where(there).limit(1))
    if usual is None:
        return 0
    off = value - float(usual)  # squares of what is left lose no figures
    keys = _hour, shot.c.station
    inner = (
        sa.select(_hour.label("hour"), shot.c.station, sa.func.count().label("number"),
                  sa.func.avg(off).label("off"), sa.func.avg(off * off).label("square"))
        .where(there).group_by(*keys).subquery()
    )  # fmt: skip
    spread = inner.c.square - inner.c.off * inner.c.off
    sums = sa.select(
        sa.literal(mine), inner.c.hour, inner.c.station, sa.literal(name), inner.c.number, inner.c.off + float(usual),
        sa.case((spread > 0.0, spread), else_=0.0),
    )  # fmt: skip
    columns = ["machine_id", "hour", "station", "name", "number", "mean", "variance"]
    return int(connection.execute(reading_summary.insert().from_select(columns, sums)).rowcount)


def _sum_trays(connection: sa.Connection, mine: int, old: Any) -> int:
    tray = (
        sa.select(_day.label("day"), sa.func.count().label("tried"), sa.func.sum(shot.c.bad).label("bad"))
        .where(old, shot.c.tray != "").group_by(_day, shot.c.tray, shot.c.time).subquery()
    )  # fmt: skip
    keys = tray.c.day, tray.c.tried, tray.c.bad
    sums = sa.select(sa.literal(mine), *keys, sa.func.count()).group_by(*keys)
    columns = ["machine_id", "day", "tried", "bad", "trays"]
    return int(connection.execute(tray_summary.insert().from_select(columns, sums)).rowcount)
