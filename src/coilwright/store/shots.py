"""Shots in and tallies out. Writing is all or nothing per delivery; sums are made by the database, not in Python."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from coilwright.errors import BadInput, Fault
from coilwright.store.database import Database
from coilwright.store.tables import aside, delivery, machine, shot

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
            known = connection.scalar(sa.select(delivery.c.id).where(delivery.c.digest == digest))
            if known is None:
                row = connection.execute(delivery.insert().values(name=name[:500], digest=digest))
                known = int(row.inserted_primary_key[0])  # type: ignore[index]
            yield Delivery(connection, machine_id, int(known))

    def machines(self) -> tuple[str, ...]:
        with self.reading() as connection:
            return tuple(connection.scalars(sa.select(machine.c.name).order_by(machine.c.name)))

    def tally(self, machine_name: str, by: Sequence[Group], since: float | None = None,
              until: float | None = None) -> Tally:  # fmt: skip
        """Tried and bad by one or several groups. Hours are of the day (0-23); days are counted since 1970."""
        columns = [_group(g) for g in by]
        query = (
            sa.select(*columns, sa.func.count(), sa.func.sum(shot.c.bad))
            .where(shot.c.machine_id == self._machine(machine_name), *_window(since, until))
            .group_by(*columns)
            .order_by(*columns)
        )
        with self.reading() as connection:
            rows = connection.execute(query).all()
        keys = tuple(r[0] if len(by) == 1 else tuple(r[: len(by)]) for r in rows)
        tried, bad = (np.array([r[len(by) + k] for r in rows], dtype=np.int64) for k in (0, 1))
        return Tally(keys, tried, bad)

    def readings(self, machine_name: str, name: str, since: float | None = None,
                 until: float | None = None) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.float64]]:  # fmt: skip
        """(n,) time, station and value of one reading, in order of time; shots without it are left out."""
        value = shot.c.readings[name].as_float()
        query = (
            sa.select(shot.c.time, shot.c.station, value)
            .where(shot.c.machine_id == self._machine(machine_name), value.is_not(None), *_window(since, until))
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
        columns = (shot.c.station, shot.c.batch, _shift(), _slice(first, width))
        query = (
            sa.select(*columns, sa.func.count(), sa.func.sum(shot.c.bad))
            .where(shot.c.machine_id == self._machine(machine_name))
            .group_by(*columns)
        )
        with self.reading() as connection:
            rows = connection.execute(query).all()
        tried, bad = (np.array([r[4 + k] for r in rows], dtype=np.int64) for k in (0, 1))
        return Tally(tuple((int(r[0]), str(r[1]), int(r[2]), int(r[3])) for r in rows), tried, bad), first, width

    def reading_names(self, machine_name: str) -> tuple[str, ...]:
        """Names of the readings that the latest shots carry."""
        query = sa.select(shot.c.readings).where(shot.c.machine_id == self._machine(machine_name))
        with self.reading() as connection:
            rows = connection.scalars(query.order_by(shot.c.time.desc()).limit(200))
            return tuple(sorted({name for r in rows if r for name in r}))

    def means(self, machine_name: str, name: str, slices: int = 40) -> NDArray[np.float64]:
        """(m, 5) station, slice of time, number, mean and mean square of one reading, summed by the database."""
        first, width = self._slices(machine_name, slices)
        column, value = _slice(first, width), shot.c.readings[name].as_float()
        query = (
            sa.select(shot.c.station, column, sa.func.count(), sa.func.avg(value), sa.func.avg(value * value))
            .where(shot.c.machine_id == self._machine(machine_name), value.is_not(None))
            .group_by(shot.c.station, column)
            .order_by(shot.c.station, column)
        )
        with self.reading() as connection:
            rows = connection.execute(query).all()
        return np.array([tuple(r) for r in rows], dtype=float).reshape(-1, 5)

    def per_tray(self, machine_name: str, since: float | None = None) -> NDArray[np.int64]:
        """(m, 3) pieces on a tray, bad among them, and how many trays are so; shots without a tray are left out."""
        tray = (
            sa.select(sa.func.count().label("tried"), sa.func.sum(shot.c.bad).label("bad"))
            .where(shot.c.machine_id == self._machine(machine_name), shot.c.tray != "", *_window(since, None))
            .group_by(shot.c.tray, shot.c.time)
            .subquery()
        )
        query = sa.select(tray.c.tried, tray.c.bad, sa.func.count()).group_by(tray.c.tried, tray.c.bad)
        with self.reading() as connection:
            rows = connection.execute(query).all()
        return np.array([tuple(r) for r in rows], dtype=np.int64).reshape(-1, 3)

    def _slices(self, machine_name: str, slices: int) -> tuple[float, float]:
        span = self.span(machine_name)
        if span is None:
            raise BadInput(Fault(self.place, f'has no shots of machine "{machine_name}" yet'))
        return span[0], max((span[1] - span[0]) / slices * (1.0 + 1e-9), 1e-3)

    def span(self, machine_name: str) -> tuple[float, float] | None:
        """Times (s) of the first and last shot; None without any."""
        query = sa.select(sa.func.min(shot.c.time), sa.func.max(shot.c.time))
        with self.reading() as connection:
            first, last = connection.execute(query.where(shot.c.machine_id == self._machine(machine_name))).one()
        return None if first is None else (float(first), float(last))

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

    def __init__(self, connection: sa.Connection, machine_id: int, number: int) -> None:
        self._connection, self._machine, self._number = connection, machine_id, number

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


def _group(group: Group) -> sa.ColumnElement[Any]:
    if group == "hour":
        return sa.cast(
            sa.func.floor((shot.c.time - 86400.0 * sa.func.floor(shot.c.time / 86400.0)) / 3600.0), sa.Integer
        )
    if group == "day":
        return sa.cast(sa.func.floor(shot.c.time / 86400.0), sa.Integer)
    columns: dict[str, sa.ColumnElement[Any]] = {
        "station": shot.c.station, "tray": shot.c.tray, "batch": shot.c.batch, "recipe": shot.c.recipe,
    }  # fmt: skip
    return columns[group]


def _shift() -> sa.ColumnElement[Any]:
    """0, 1, 2: eight hours each from midnight by the machine's clock."""
    return sa.cast(sa.func.floor((shot.c.time - 86400.0 * sa.func.floor(shot.c.time / 86400.0)) / 28800.0), sa.Integer)


def _slice(first: float, width: float) -> sa.ColumnElement[Any]:
    return sa.cast(sa.func.floor((shot.c.time - first) / width), sa.Integer)


def _window(since: float | None, until: float | None) -> list[sa.ColumnElement[bool]]:
    out: list[sa.ColumnElement[bool]] = []
    if since is not None:
        out.append(shot.c.time >= since)
    if until is not None:
        out.append(shot.c.time < until)
    return out
