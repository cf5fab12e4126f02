"""Coils as built and capacitors on the shelf, each with what was measured of it."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence
from typing import Any, Final

import sqlalchemy as sa

from coilwright.errors import BadInput, Fault
from coilwright.store.database import Database
from coilwright.store.jobs import unknown, version_key
from coilwright.store.records import (
    CanReading,
    CanRecord,
    CoilReading,
    CoilRecord,
    checked_name,
    checked_text,
    number,
    plain,
)
from coilwright.store.tables import capacitor, capacitor_reading, coil, coil_reading, job, job_version

# Columns of a stock file, as `tank` reads it.
STOCK_COLUMNS: Final = (
    "name", "capacitance", "count", "price", "tolerance", "loss_tangent", "frequency", "rated_voltage", "rated_current",
    "rated_kvar", "temperature_coefficient",
)  # fmt: skip
_RATED: Final = {"voltage": ("V", 1.0), "current": ("A", 1.0), "reactive_power": ("kvar", 1e-3)}


def add_coil(store: Database, record: CoilRecord) -> CoilRecord:
    """Keep a coil as built with its readings; a name that is taken is refused. Raises BadInput."""
    name = checked_name(record.name, "coil")
    row: dict[str, Any] = {
        "name": name, "time": number(record.when, "when"), "winding": plain(record.winding, "winding"),
        "notes": checked_text(record.notes, "notes"), "job_version_id": None,
    }  # fmt: skip
    with store.writing() as connection:
        if connection.scalar(sa.select(coil.c.id).where(coil.c.name == name)) is not None:
            what = f'has a coil "{name}" already; give this one a name of its own, or add a reading to that one'
            raise BadInput(Fault(store.place, what))
        if record.job is not None:
            row["job_version_id"], _ = version_key(connection, store.place, record.job, record.version)
        made = connection.execute(coil.insert().values(row))
        _write_coil_readings(connection, int(made.inserted_primary_key[0]), record.readings)  # type: ignore[index]
        return _coils(connection, coil.c.name == name)[0]


def measure_coil(store: Database, name: str, reading: CoilReading) -> CoilRecord:
    """Add a reading to a coil; those before it stay. Raises BadInput for an unknown coil or a bad figure."""
    with store.writing() as connection:
        _write_coil_readings(connection, _key(connection, store.place, coil, "coil", name), [reading])
        return _coils(connection, coil.c.name == name.strip())[0]


def coils(store: Database) -> tuple[CoilRecord, ...]:
    """All coils, in alphabetical order."""
    with store.reading() as connection:
        return _coils(connection, sa.true())


def coil_at(store: Database, name: str) -> CoilRecord:
    """A coil by its name. Raises BadInput with the nearest names when it is unknown."""
    with store.reading() as connection:
        _key(connection, store.place, coil, "coil", name)
        return _coils(connection, coil.c.name == name.strip())[0]


def _write_coil_readings(connection: sa.Connection, key: int, readings: Iterable[CoilReading]) -> None:
    for r in readings:
        if r.state not in ("empty", "loaded"):
            raise BadInput(Fault("coil.state", f'must be "empty" or "loaded"; received "{r.state}"'))
        row = {
            "coil_id": key, "time": number(r.when, "when"), "state": r.state, "how": checked_text(r.how, "how"),
            "frequency": number(r.frequency, "coil.frequency", above=0.0),
            "inductance": number(r.inductance, "coil.inductance", above=0.0),
            "resistance": number(r.resistance, "coil.resistance", above=0.0),
            "inductance_sigma": number(r.inductance_sigma, "coil.inductance_sigma"),
            "resistance_sigma": number(r.resistance_sigma, "coil.resistance_sigma"),
            "designed_inductance": number(r.designed_inductance, "coil.designed_inductance", above=0.0),
            "designed_resistance": number(r.designed_resistance, "coil.designed_resistance", above=0.0),
        }  # fmt: skip
        connection.execute(coil_reading.insert().values(row))


def _coils(connection: sa.Connection, which: sa.ColumnElement[bool]) -> tuple[CoilRecord, ...]:
    query = (
        sa.select(coil, job.c.name.label("job"), job_version.c.number.label("version"))
        .select_from(coil)
        .join(job_version, job_version.c.id == coil.c.job_version_id, isouter=True)
        .join(job, job.c.id == job_version.c.job_id, isouter=True)
    )
    out = []
    for row in connection.execute(query.where(which).order_by(coil.c.name)).all():
        c = coil_reading.c
        taken = connection.execute(sa.select(coil_reading).where(c.coil_id == row.id).order_by(c.time, c.id))
        readings = tuple(
            CoilReading(
                r.frequency, r.inductance, r.resistance, r.inductance_sigma, r.resistance_sigma, r.state,
                r.designed_inductance, r.designed_resistance, r.how, r.time,
            )
            for r in taken
        )  # fmt: skip
        out.append(CoilRecord(row.name, row.job, row.version, row.winding, row.notes, readings, row.time))
    return tuple(out)


def put_can(store: Database, record: CanRecord) -> CanRecord:
    """Keep capacitors of one marking, or change what was kept of them; readings are added to those before. Raises BadInput."""
    name = checked_name(record.name, "capacitor")
    row: dict[str, Any] = {
        "name": name, "time": number(record.when, "when"), "count": _count(record.count),
        "capacitance": number(record.capacitance, "capacitor.capacitance", above=0.0),
        "tolerance": number(record.tolerance, "capacitor.tolerance"),
        "loss_tangent": number(record.loss_tangent, "capacitor.loss_tangent"),
        "price": number(record.price, "capacitor.price"), "ratings": _ratings(record),
        "temperature_coefficient": number(record.temperature_coefficient, "capacitor.temperature_coefficient"),
        "notes": checked_text(record.notes, "notes"),
    }  # fmt: skip
    for column, most in (("tolerance", 1.0), ("loss_tangent", 1.0), ("price", math.inf)):
        if not 0.0 <= row[column] < most:
            bound = "0 or more" if most == math.inf else f"from 0 to below {most:g}"
            raise BadInput(Fault(f"capacitor.{column}", f"must be {bound}; received {row[column]:g}"))
    with store.writing() as connection:
        key = connection.scalar(sa.select(capacitor.c.id).where(capacitor.c.name == name))
        if key is None:
            key = connection.execute(capacitor.insert().values(row)).inserted_primary_key[0]  # type: ignore[index]
        else:
            row.pop("time")
            connection.execute(capacitor.update().where(capacitor.c.id == key).values(row))
        _write_can_readings(connection, int(key), record.readings)
        return _cans(connection, capacitor.c.name == name)[0]


def measure_can(store: Database, name: str, reading: CanReading) -> CanRecord:
    """Add a reading to capacitors on the shelf; those before it stay. Raises BadInput for an unknown name or bad figure."""
    with store.writing() as connection:
        _write_can_readings(connection, _key(connection, store.place, capacitor, "capacitor", name), [reading])
        return _cans(connection, capacitor.c.name == name.strip())[0]


def cans(store: Database) -> tuple[CanRecord, ...]:
    """All capacitors on the shelf, in alphabetical order."""
    with store.reading() as connection:
        return _cans(connection, sa.true())


def can_at(store: Database, name: str) -> CanRecord:
    """Capacitors of one marking. Raises BadInput with the nearest names when they are unknown."""
    with store.reading() as connection:
        _key(connection, store.place, capacitor, "capacitor", name)
        return _cans(connection, capacitor.c.name == name.strip())[0]


def stock(store: Database) -> str:
    """The whole shelf as a stock file."""
    return stock_csv(cans(store))


def stock_csv(records: Iterable[CanRecord]) -> str:
    """The shelf as a stock file for the search of a bank: the newest measured value where there is one, else as bought.

    A measured capacitance stands with twice its one sigma as tolerance; the loss tangent is 2 pi f C R.
    """
    text = io.StringIO()
    writer = csv.DictWriter(text, STOCK_COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(_stock_row(r) for r in records)
    return text.getvalue()


def _stock_row(record: CanRecord) -> dict[str, Any]:
    value, tolerance, tangent = record.capacitance, record.tolerance, record.loss_tangent
    if record.readings:
        last = record.readings[-1]
        value, tolerance = last.capacitance, 2 * last.capacitance_sigma / last.capacitance
        if last.resistance is not None:
            tangent = 2 * math.pi * last.frequency * last.capacitance * last.resistance
    row: dict[str, Any] = {
        "name": record.name, "capacitance": f"{value:.6g} F", "count": record.count, "price": f"{record.price:g}",
        "tolerance": f"{tolerance:.4g}", "loss_tangent": f"{tangent:.4g}",
        "temperature_coefficient": f"{1e6 * record.temperature_coefficient:g} ppm/K",
    }  # fmt: skip
    if record.ratings.get("frequency"):
        row["frequency"] = "; ".join(f"{f:g} Hz" for f in record.ratings["frequency"])
    for key, (unit, scale) in _RATED.items():
        if record.ratings.get(key):
            row["rated_kvar" if key == "reactive_power" else f"rated_{key}"] = "; ".join(
                f"{scale * v:g} {unit}" for v in record.ratings[key]
            )
    return row


def _ratings(record: CanRecord) -> dict[str, list[float]]:
    out: dict[str, list[float]] = {}
    points = len(record.ratings.get("frequency", ()))
    for key, values in record.ratings.items():
        where = f"capacitor.ratings.{key}"
        if key != "frequency" and key not in _RATED:
            raise BadInput(Fault(where, f"must be one of frequency, {', '.join(_RATED)}"))
        out[key] = [float(number(v, where, above=0.0) or 0.0) for v in values]
        if key != "frequency" and len(values) not in (1, points):
            raise BadInput(Fault(where, f"must be one value, or one per frequency ({points}); received {len(values)}"))
    return out


def _count(count: int) -> int:
    if isinstance(count, bool) or not isinstance(count, int) or not 0 <= count <= 1_000_000:
        raise BadInput(Fault("capacitor.count", f"must be a whole number from 0; received {count}"))
    return count


def _write_can_readings(connection: sa.Connection, key: int, readings: Sequence[CanReading]) -> None:
    for r in readings:
        row = {
            "capacitor_id": key, "time": number(r.when, "when"), "how": checked_text(r.how, "how"),
            "frequency": number(r.frequency, "capacitor.frequency", above=0.0),
            "capacitance": number(r.capacitance, "capacitor.capacitance", above=0.0),
            "capacitance_sigma": number(r.capacitance_sigma, "capacitor.capacitance_sigma"),
            "resistance": number(r.resistance, "capacitor.resistance", above=0.0),
            "resistance_sigma": number(r.resistance_sigma, "capacitor.resistance_sigma"),
        }  # fmt: skip
        connection.execute(capacitor_reading.insert().values(row))


def _cans(connection: sa.Connection, which: sa.ColumnElement[bool]) -> tuple[CanRecord, ...]:
    out = []
    for row in connection.execute(sa.select(capacitor).where(which).order_by(capacitor.c.name)).all():
        c = capacitor_reading.c
        taken = connection.execute(sa.select(capacitor_reading).where(c.capacitor_id == row.id).order_by(c.time, c.id))
        readings = tuple(
            CanReading(r.frequency, r.capacitance, r.capacitance_sigma, r.resistance, r.resistance_sigma, r.how, r.time)
            for r in taken
        )
        out.append(
            CanRecord(
                row.name, row._mapping["count"], row.capacitance, row.tolerance, row.loss_tangent, row.price, row.ratings,
                row.temperature_coefficient, row.notes, readings, row.time,
            )
        )  # fmt: skip
    return tuple(out)


def _key(connection: sa.Connection, place: str, table: sa.Table, kind: str, name: str) -> int:
    key = connection.scalar(sa.select(table.c.id).where(table.c.name == name.strip()))
    if key is None:
        raise BadInput(Fault(place, unknown(kind, name, connection.scalars(sa.select(table.c.name)).all())))
    return int(key)
