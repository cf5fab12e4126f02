"""Machines and their hand-overs: what each read when it was right. A machine is the same one in the shot log."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from coilwright.errors import BadInput, Fault
from coilwright.store.database import Database
from coilwright.store.jobs import unknown, version_key
from coilwright.store.records import HandOverReading, HandOverRecord, checked_name, checked_text, number, plain
from coilwright.store.tables import hand_over, hand_over_reading, job, job_version, machine

_LONGEST = 80  # characters of a machine's name, as in the shot log


def add_hand_over(store: Database, record: HandOverRecord) -> HandOverRecord:
    """Keep a hand-over; the ones before it stay. The machine is made when it is new. Raises BadInput."""
    name = checked_name(record.machine, "machine")
    if len(name) > _LONGEST:
        raise BadInput(Fault("machine", f"must have a name of at most {_LONGEST} characters; received {len(name)}"))
    row: dict[str, Any] = {
        "time": number(record.when, "when"), "record": plain(record.record, "machine"), "job_version_id": None
    }  # fmt: skip
    with store.writing() as connection:
        key = connection.scalar(sa.select(machine.c.id).where(machine.c.name == name))
        if key is None:
            key = connection.execute(machine.insert().values(name=name)).inserted_primary_key[0]  # type: ignore[index]
        if record.job is not None:
            row["job_version_id"], _ = version_key(connection, store.place, record.job, record.version)
        made = connection.execute(hand_over.insert().values(machine_id=key, **row))
        for r in record.readings:
            connection.execute(hand_over_reading.insert().values(_row(int(made.inserted_primary_key[0]), r)))  # type: ignore[index]
        return _records(connection, hand_over.c.id == made.inserted_primary_key[0])[0]  # type: ignore[index]


def hand_overs(store: Database, name: str) -> tuple[HandOverRecord, ...]:
    """Hand-overs of a machine, oldest first. Raises BadInput for an unknown machine."""
    with store.reading() as connection:
        known = connection.scalars(sa.select(machine.c.name)).all()
        if name.strip() not in known:
            raise BadInput(Fault(store.place, unknown("machine", name, known)))
        return _records(connection, machine.c.name == name.strip())


def machine_names(store: Database) -> tuple[str, ...]:
    """Names of all machines, those of the shot log included, in alphabetical order."""
    with store.reading() as connection:
        return tuple(connection.scalars(sa.select(machine.c.name).order_by(machine.c.name)))


def _row(key: int, reading: HandOverReading) -> dict[str, Any]:
    words = {k: checked_text(getattr(reading, k), k) for k in ("what", "condition", "state")}
    figures = {k: number(getattr(reading, k), f"machine.{k}") for k in ("value", "sigma", "predicted")}
    return {"hand_over_id": key, "station": reading.station, **words, **figures}


def _records(connection: sa.Connection, which: sa.ColumnElement[bool]) -> tuple[HandOverRecord, ...]:
    query = (
        sa.select(hand_over, machine.c.name.label("machine"), job.c.name.label("job"), job_version.c.number)
        .join_from(hand_over, machine)
        .join(job_version, job_version.c.id == hand_over.c.job_version_id, isouter=True)
        .join(job, job.c.id == job_version.c.job_id, isouter=True)
        .where(which)
        .order_by(hand_over.c.time, hand_over.c.id)
    )
    out = []
    for row in connection.execute(query).all():
        c = hand_over_reading.c
        taken = connection.execute(sa.select(hand_over_reading).where(c.hand_over_id == row.id).order_by(c.id))
        readings = tuple(
            HandOverReading(r.what, r.station, r.value, r.sigma, r.condition, r.state, r.predicted) for r in taken
        )
        out.append(HandOverRecord(row.machine, row.record, readings, row.job, row.number, row.time))
    return tuple(out)
