"""Shots in and tallies out. Writing is all or nothing per delivery; sums are made by the database, not in Python."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from coilwright.errors import BadInput, Fault
from coilwright.store.database import Database
from coilwright.store.tables import aside, delivery, machine, reading_summary, shot, shot_summary, tray_summary

Group = Literal["station", "tray", "batch", "recipe", "hour", "day"]
_CHUNK = 20_000
_LONGEST = 20_000  # characters of a row that are kept word for word


@dataclass(frozen=True, slots=True)
class Shot:
    """One piece heated. `time` s since 1970 by the machine's clock, `station` from 1, `readings` SI by name."""

    time: float
    station: int
    bad: bool
    tray: str = ""
    batch: str = ""
    recipe: str = ""
    readings: dict[str, float] | None = None


@dataclass(frozen=True)
class Aside:
    """A row that was not taken: its number in the delivery, a stable reason, why in words, the row itself."""

    row: int
    reason: str
    why: str
    text: str


@dataclass(frozen=True, eq=False)
class Tally:
    """Numbers tried and bad by group, groups in order of their key."""

    keys: tuple[Any, ...]
    tried: NDArray[np.int64]
    bad: NDArray[np.int64]

    def to_dict(self) -> dict[str, Any]:
        return {"keys": list(self.keys), "tried": self.tried.tolist(), "bad": self.bad.tolist()}


class ShotStore(Database):
    """The shots of a store: a SQLite file, or PostgreSQL for a plant."""

    @contextmanager
    def delivery(self, machine_name: str, name: str, digest: str) -> Iterator[Delivery]:
        """A delivery open for writing: everything in it is kept together, or nothing when it fails half-way."""
        with self.writing() as connection:
            machine_id = _machine_id(connection, machine_name)
            number = connection.scalar(sa.select(delivery.c.id).where(delivery.c.digest == digest))
            known = number is not None
            if number is None:
                row = connection.execute(delivery.insert().values(name=name[:500], digest=digest))
                number = int(row.inserted_primary_key[0])  # type: ignore[index]
            yield Delivery(connection, machine_id, int(number), known)

    def machines(self) -> tuple[str, ...]:
        with self.reading() as connection:
            return tuple(connection.scalars(sa.select(machine.c.name).order_by(machine.c.name)))

    def tally(self, machine_name: str, by: Sequence[Group], since: float | None = None,
              until: float | None = None) -> Tally:  # fmt: skip
        """Tried and bad by one or several groups. Hours are of the day (0-23); days are counted since 1970.

        Shots that were summarised count in the middle of their hour; by tray only those kept singly are counted.
        """
        mine = self._machine(machine_name)
        fresh = sa.select(*(_group(g, shot, shot.c.time) for g in by), sa.func.count(), sa.func.sum(shot.c.bad))
        queries = [fresh.where(shot.c.machine_id == mine, *_window(shot.c.time, since, until))]
        if "tray" not in by:
            old, middle = shot_summary, _middle_of_hour(shot_summary.c.hour)
            sums = sa.select(*(_group(g, old, middle) for g in by), sa.func.sum(old.c.tried), sa.func.sum(old.c.bad))
            queries.append(sums.where(old.c.machine_id == mine, *_window(middle, since, until)))
        return self._added(queries, len(by))

    def _added(self, queries: Sequence[sa.Select[Any]], keys: int) -> Tally:
        """Rows (keys ..., tried, bad) of shots and of their summaries, added up by key, in order of the keys."""
        sums: dict[Any, list[int]] = {}
        with self.reading() as connection:
            for query in queries:
                columns = list(query.selected_columns)[:keys]
                for row in connection.execute(query.group_by(*columns)):
                    total = sums.setdefault(row[0] if keys == 1 else tuple(row[:keys]), [0, 0])
                    total[0] += int(row[keys])
                    total[1] += int(row[keys + 1])
        order = sorted(sums)
        tried, bad = (np.array([sums[k][n] for k in order], dtype=np.int64) for n in (0, 1))
        return Tally(tuple(order), tried, bad)

    def readings(self, machine_name: str, name: str, since: float | None = None,
                 until: float | None = None) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.float64]]:  # fmt: skip
        """(n,) time, station and value of one reading, in order of time; shots without it, and those
        no longer kept singly, are left out."""
        value = shot.c.readings[name].as_float()
        window = _window(shot.c.time, since, until)
        query = (
            sa.select(shot.c.time, shot.c.station, value)
            .where(shot.c.machine_id == self._machine(machine_name), value.is_not(None), *window)
            .order_by(shot.c.time)
        )
        with self.reading() as connection:
            rows = connection.execute(query).all()
        table = np.array([tuple(r) for r in rows], dtype=float).reshape(-1, 3)
        return table[:, 0], table[:, 1].astype(np.int64), table[:, 2]

    def cells(self, machine_name: str, slices: int = 40) -> tuple[Tally, float, float]:
        """Tried and bad by (station, batch, eight-hour shift, slice of time), in one pass over the shots.

        Also the time of the first shot and the width of a slice (s). Raises BadInput when there are no shots.
        """
        first, width = self._slices(machine_name, slices)
        mine, old, middle = self._machine(machine_name), shot_summary, _middle_of_hour(shot_summary.c.hour)
        queries = [
            sa.select(t.c.station, t.c.batch, _shift(time), _slice(time, first, width), tried, sa.func.sum(t.c.bad))
            .where(t.c.machine_id == mine)
            for t, time, tried in ((shot, shot.c.time, sa.func.count()), (old, middle, sa.func.sum(old.c.tried)))
        ]  # fmt: skip
        return self._added(queries, 4), first, width

    def reading_names(self, machine_name: str) -> tuple[str, ...]:
        """Names of the readings that the latest shots carry."""
        query = sa.select(shot.c.readings).where(shot.c.machine_id == self._machine(machine_name))
        old = sa.select(reading_summary.c.name).where(reading_summary.c.machine_id == self._machine(machine_name))
        with self.reading() as connection:
            rows = connection.scalars(query.order_by(shot.c.time.desc()).limit(200)).all()
            names = {name for r in rows if r for name in r}
            return tuple(sorted(names or set(connection.scalars(old.distinct()))))

    def means(self, machine_name: str, name: str, slices: int = 40) -> NDArray[np.float64]:
        """(m, 5) station, slice of time, number, mean and variance about it of one reading, summed by the database."""
        first, width = self._slices(machine_name, slices)
        mine, value, old = self._machine(machine_name), shot.c.readings[name].as_float(), reading_summary
        with self.reading() as connection:
            usual = connection.scalar(sa.select(value).where(shot.c.machine_id == mine, value.is_not(None)).limit(1))
            off = (value - float(usual or 0.0)).label("off")  # squares of what is left lose no figures
            each = sa.select(shot.c.station, _slice(shot.c.time, first, width).label("part"), off)
            one = each.where(shot.c.machine_id == mine).cte("one")
            if connection.dialect.name != "sqlite" or sqlite3.sqlite_version_info >= (3, 35):
                one = one.prefix_with("MATERIALIZED")  # read out of its text once, not for every use
            keys = one.c.station, one.c.part
            query = sa.select(*keys, sa.func.count(), sa.func.avg(one.c.off), sa.func.avg(one.c.off * one.c.off))
            fresh = connection.execute(query.where(one.c.off.is_not(None)).group_by(*keys).order_by(*keys)).all()
            columns = (
                old.c.station,
                _slice(_middle_of_hour(old.c.hour), first, width),
                old.c.number,
                old.c.mean,
                old.c.variance,
            )
            past = connection.execute(sa.select(*columns).where(old.c.machine_id == mine, old.c.name == name)).all()
        table = np.array([tuple(r) for r in fresh], dtype=float).reshape(-1, 5)
        table[:, 4] = np.maximum(table[:, 4] - table[:, 3] ** 2, 0.0)
        table[:, 3] += float(usual or 0.0)
        return table if not past else _joined(np.concatenate([table, np.array([tuple(r) for r in past], dtype=float)]))

    def per_tray(self, machine_name: str, since: float | None = None) -> NDArray[np.int64]:
        """(m, 3) pieces on a tray, bad among them, and how many trays are so; shots without a tray are left out."""
        mine, old = self._machine(machine_name), tray_summary
        tray = (
            sa.select(sa.func.count().label("tried"), sa.func.sum(shot.c.bad).label("bad"))
            .where(shot.c.machine_id == mine, shot.c.tray != "", *_window(shot.c.time, since, None))
            .group_by(shot.c.tray, shot.c.time)
            .subquery()
        )
        query = sa.select(tray.c.tried, tray.c.bad, sa.func.count()).group_by(tray.c.tried, tray.c.bad)
        past = sa.select(old.c.tried, old.c.bad, sa.func.sum(old.c.trays)).where(
            old.c.machine_id == mine, *_window(sa.cast(old.c.day, sa.Float) * 86400.0, since, None)
        )
        with self.reading() as connection:
            rows = [*connection.execute(query), *connection.execute(past.group_by(old.c.tried, old.c.bad))]
        return np.array([tuple(r) for r in rows], dtype=np.int64).reshape(-1, 3)

    def _slices(self, machine_name: str, slices: int) -> tuple[float, float]:
        span = self.span(machine_name)
        if span is None:
            raise BadInput(Fault(self.place, f'has no shots of machine "{machine_name}" yet'))
        return span[0], max((span[1] - span[0]) / slices * (1.0 + 1e-9), 1e-3)

    def span(self, machine_name: str) -> tuple[float, float] | None:
        """Times (s) of the first and last shot; None without any."""
        mine, hour = self._machine(machine_name), shot_summary.c.hour
        of_shots, of_sums = shot.c.machine_id == mine, shot_summary.c.machine_id == mine
        queries = [  # one end at a time: an index knows either, both together take a pass over everything
            sa.select(end(time)).where(own)
            for time, own in ((shot.c.time, of_shots), (_middle_of_hour(hour), of_sums))
            for end in (sa.func.min, sa.func.max)
        ]
        with self.reading() as connection:
            ends = [float(x) for q in queries if (x := connection.scalar(q)) is not None]
        return (min(ends), max(ends)) if ends else None

    def aside(self, most: int = 100) -> tuple[dict[str, int], tuple[Aside, ...]]:
        """Numbers set aside by reason, and the latest of them."""
        with self.reading() as connection:
            query = sa.select(aside.c.reason, sa.func.count()).group_by(aside.c.reason).order_by(aside.c.reason)
            numbers = {str(r): int(n) for r, n in connection.execute(query)}
            columns = (aside.c.row, aside.c.reason, aside.c.why, aside.c.text)
            rows = connection.execute(sa.select(*columns).order_by(aside.c.id.desc()).limit(most)).all()
        return numbers, tuple(Aside(*r) for r in rows)

    def _machine(self, name: str) -> int:
        with self.reading() as connection:
            found = connection.scalar(sa.select(machine.c.id).where(machine.c.name == name))
        if found is None:
            known = ", ".join(self.machines()) or "none yet"
            raise BadInput(Fault(self.place, f'has no machine "{name}"; known: {known}'))
        return int(found)


class Delivery:
    """Writes of one delivery; made by ShotStore.delivery."""

    def __init__(self, connection: sa.Connection, machine_id: int, number: int, known: bool) -> None:
        self._connection, self._machine, self._number, self.known = connection, machine_id, number, known

    def summarised_until(self) -> float | None:
        """Time (s) before which shots are kept as sums only; None when all are kept singly."""
        return summarised_until(self._connection, self._machine)

    def latest(self) -> float | None:
        """Time (s) of the last shot already kept of this machine."""
        query = sa.select(sa.func.max(shot.c.time)).where(shot.c.machine_id == self._machine)
        found = self._connection.scalar(query)
        return None if found is None else float(found)

    def kept(self, first: float, last: float) -> dict[tuple[float, int, str], tuple[bool, str, str]]:
        """Shots already kept between two times: (time, station, tray) -> (bad, batch, recipe)."""
        columns = (shot.c.time, shot.c.station, shot.c.tray, shot.c.bad, shot.c.batch, shot.c.recipe)
        where = (shot.c.machine_id == self._machine, shot.c.time >= first, shot.c.time <= last)
        rows = self._connection.execute(sa.select(*columns).where(*where))
        return {(t, s, tray): (bool(bad), batch, recipe) for t, s, tray, bad, batch, recipe in rows}

    def add(self, shots: Iterable[Shot]) -> int:
        """Write shots that are not there yet; the number written."""
        written, part = 0, []
        for s in shots:
            part.append({
                "machine_id": self._machine, "station": s.station, "time": s.time, "tray": s.tray, "batch": s.batch,
                "recipe": s.recipe, "bad": int(s.bad), "readings": s.readings, "delivery_id": self._number,
            })  # fmt: skip
            if len(part) >= _CHUNK:
                self._connection.execute(shot.insert(), part)
                written, part = written + len(part), []
        if part:
            self._connection.execute(shot.insert(), part)
        return written + len(part)

    def last_row(self) -> int:
        """The greatest row number set aside in this delivery; 0 without any."""
        query = sa.select(sa.func.max(aside.c.row)).where(aside.c.delivery_id == self._number)
        return int(self._connection.scalar(query) or 0)

    def has_aside(self, reason: str, text: str) -> bool:
        """Whether the same text was set aside for the same reason before, in whatever delivery."""
        same = sa.and_(aside.c.reason == reason, aside.c.text == text[:_LONGEST])
        return self._connection.scalar(sa.select(aside.c.id).where(same).limit(1)) is not None

    def set_aside(self, rows: Sequence[Aside]) -> int:
        """Keep rows that could not be taken; those of an earlier reading of the same delivery are there already."""
        query = sa.select(aside.c.row).where(aside.c.delivery_id == self._number)
        there = set(self._connection.scalars(query))
        new = [
            {"delivery_id": self._number, "row": a.row, "reason": a.reason, "why": why[:500], "text": text[:2000]}
            for a in rows
            if a.row not in there
            for why, text in [(_shown(a.why), _shown(a.text))]
        ]
        for k in range(0, len(new), _CHUNK):
            self._connection.execute(aside.insert(), new[k : k + _CHUNK])
        return len(new)


def _shown(text: str) -> str:
    """Zero bytes, as half-written files have them, by their sign: PostgreSQL keeps none."""
    return text.replace("\0", "\N{SYMBOL FOR NULL}")


def _machine_id(connection: sa.Connection, name: str) -> int:
    found = connection.scalar(sa.select(machine.c.id).where(machine.c.name == name))
    if found is None:
        row = connection.execute(machine.insert().values(name=name))
        found = row.inserted_primary_key[0]  # type: ignore[index]
    return int(found)


def summarised_until(connection: sa.Connection, machine_id: int) -> float | None:
    hour = connection.scalar(sa.select(sa.func.max(shot_summary.c.hour)).where(shot_summary.c.machine_id == machine_id))
    return None if hour is None else 3600.0 * (int(hour) + 1)


Time = sa.ColumnElement[Any]


def _group(group: Group, table: sa.Table, time: Time) -> sa.ColumnElement[Any]:
    if group == "hour":
        return sa.cast(sa.func.floor((time - 86400.0 * sa.func.floor(time / 86400.0)) / 3600.0), sa.Integer)
    if group == "day":
        return sa.cast(sa.func.floor(time / 86400.0), sa.Integer)
    return table.c[group]


def _middle_of_hour(hour: Time) -> Time:
    return sa.cast(hour, sa.Float) * 3600.0 + 1800.0


def _shift(time: Time) -> sa.ColumnElement[Any]:
    """0, 1, 2: eight hours each from midnight by the machine's clock."""
    return sa.cast(sa.func.floor((time - 86400.0 * sa.func.floor(time / 86400.0)) / 28800.0), sa.Integer)


def _slice(time: Time, first: float, width: float) -> sa.ColumnElement[Any]:
    return sa.cast(sa.func.floor((time - first) / width), sa.Integer)


def _window(time: Time, since: float | None, until: float | None) -> list[sa.ColumnElement[bool]]:
    out: list[sa.ColumnElement[bool]] = []
    if since is not None:
        out.append(time >= since)
    if until is not None:
        out.append(time < until)
    return out


def _joined(table: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rows (station, slice, number, mean, variance) of the same station and slice as one."""
    keys, row = np.unique(table[:, :2], axis=0, return_inverse=True)
    row = row.ravel()
    number = np.bincount(row, table[:, 2])
    mean = np.bincount(row, table[:, 2] * table[:, 3]) / number
    apart = table[:, 4] + (table[:, 3] - mean[row]) ** 2
    return np.column_stack([keys, number, mean, np.bincount(row, table[:, 2] * apart) / number])
