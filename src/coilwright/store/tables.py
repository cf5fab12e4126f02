"""The tables of the store, the same for SQLite and PostgreSQL. How older files get here is told in `migrations`.

Times are seconds since 1970 (UTC for records, the machine's own clock for shots); quantities are SI.
"""

from __future__ import annotations

from typing import Any, Final

import sqlalchemy as sa

HEAD: Final = "0003"  # the newest step in `migrations`; a test holds the two together
VERSION_TABLE: Final = "coilwright_version"

meta = sa.MetaData()


def _key() -> sa.Column[int]:
    return sa.Column("id", sa.Integer, primary_key=True)


def _to(target: str, name: str | None = None, needed: bool = True) -> sa.Column[Any]:
    return sa.Column(name or f"{target.split('.')[0]}_id", sa.ForeignKey(target), nullable=not needed, index=True)


def _text(name: str, length: int | None = None, **more: Any) -> sa.Column[str]:
    return sa.Column(name, sa.Text() if length is None else sa.String(length), nullable=False, **more)


def _number(name: str, needed: bool = True) -> sa.Column[float]:
    return sa.Column(name, sa.Float(), nullable=not needed)


def _whole(name: str, target: str | None = None) -> sa.Column[int]:
    places = () if target is None else (sa.ForeignKey(target),)
    return sa.Column(name, sa.Integer(), *places, nullable=False)


def _json(name: str, needed: bool = True) -> sa.Column[Any]:
    return sa.Column(name, sa.JSON(none_as_null=True), nullable=not needed)


machine = sa.Table("machine", meta, _key(), _text("name", 80, unique=True))

# One delivery of rows: a file, or a day of listening.
delivery = sa.Table("delivery", meta, _key(), _text("name", 500), _text("digest", 64, unique=True))

# A shot is known by machine, station, time and tray; `time` in seconds since 1970 by the machine's own clock.
shot = sa.Table(
    "shot", meta,
    _key(),
    sa.Column("machine_id", sa.ForeignKey("machine.id"), nullable=False),
    sa.Column("station", sa.Integer, nullable=False),
    _number("time"),
    _text("tray", 80), _text("batch", 80), _text("recipe", 80),
    sa.Column("bad", sa.Integer, nullable=False),
    sa.Column("readings", sa.JSON, nullable=True),
    sa.Column("delivery_id", sa.ForeignKey("delivery.id"), nullable=False),
    sa.UniqueConstraint("machine_id", "time", "station", "tray", name="one_shot"),
)  # fmt: skip

# What stays of shots dropped for their age: `hour` and `day` are counted since 1970 by the machine's own clock. A tray summary
# says how many trays of a day held `tried` pieces, `bad` of them bad.
shot_summary = sa.Table(
    "shot_summary", meta,
    _key(), _whole("machine_id", "machine.id"), _whole("hour"), _whole("station"), _text("batch", 80), _text("recipe", 80),
    _whole("tried"), _whole("bad"),
    sa.UniqueConstraint("machine_id", "hour", "station", "batch", "recipe", name="one_shot_summary"),
)  # fmt: skip

reading_summary = sa.Table(
    "reading_summary", meta,
    _key(), _whole("machine_id", "machine.id"), _whole("hour"), _whole("station"), _text("name", 80),
    _whole("number"), _number("mean"), _number("variance"),
    sa.UniqueConstraint("machine_id", "hour", "station", "name", name="one_reading_summary"),
)  # fmt: skip

tray_summary = sa.Table(
    "tray_summary", meta,
    _key(), _whole("machine_id", "machine.id"), _whole("day"), _whole("tried"), _whole("bad"), _whole("trays"),
    sa.UniqueConstraint("machine_id", "day", "tried", "bad", name="one_tray_summary"),
)  # fmt: skip

# Rows that could not be taken, word for word, with the reason.
aside = sa.Table(
    "aside", meta,
    _key(),
    sa.Column("delivery_id", sa.ForeignKey("delivery.id"), nullable=False),
    sa.Column("row", sa.Integer, nullable=False),
    _text("reason", 40), _text("why", 500), _text("text"),
    sa.UniqueConstraint("delivery_id", "row", name="one_aside"),
)  # fmt: skip

job = sa.Table("job", meta, _key(), _text("name", 200, unique=True), _number("time"), _text("origin"))

# A text is kept once, however many versions hold it.
job_text = sa.Table("job_text", meta, _text("digest", 64, primary_key=True), _text("text"))

job_version = sa.Table(
    "job_version", meta,
    _key(), _to("job.id"),
    sa.Column("number", sa.Integer, nullable=False),
    _to("job_text.digest", "digest"), _number("time"), _text("note"), _json("figures"),
    sa.UniqueConstraint("job_id", "number", name="one_version"),
)  # fmt: skip

# Readings taken for a job outside a trial: an LCR meter, a capture, a balance.
job_reading = sa.Table("job_reading", meta, _key(), _to("job.id"), _number("time"), _text("source"), _json("readings"))

coil = sa.Table(
    "coil", meta,
    _key(), _text("name", 200, unique=True), _to("job_version.id", needed=False), _number("time"), _json("winding"),
    _text("notes"),
)  # fmt: skip

coil_reading = sa.Table(
    "coil_reading", meta,
    _key(), _to("coil.id"), _number("time"), _number("frequency"), _text("state", 10),
    _number("inductance"), _number("inductance_sigma"), _number("resistance"), _number("resistance_sigma"),
    _number("designed_inductance", needed=False), _number("designed_resistance", needed=False), _text("how"),
)  # fmt: skip

capacitor = sa.Table(
    "capacitor", meta,
    _key(), _text("name", 200, unique=True), _number("time"),
    sa.Column("count", sa.Integer, nullable=False),
    _number("capacitance"), _number("tolerance"), _number("loss_tangent"), _number("price"),
    _json("ratings"), _number("temperature_coefficient"), _text("notes"),
)  # fmt: skip

capacitor_reading = sa.Table(
    "capacitor_reading", meta,
    _key(), _to("capacitor.id"), _number("time"), _number("frequency"),
    _number("capacitance"), _number("capacitance_sigma"),
    _number("resistance", needed=False), _number("resistance_sigma", needed=False), _text("how"),
)  # fmt: skip

# Content of files that belong to a record, kept once.
attachment = sa.Table(
    "attachment", meta, _text("digest", 64, primary_key=True), sa.Column("content", sa.LargeBinary(), nullable=False)
)

trial = sa.Table(
    "trial", meta,
    _key(), _to("job_version.id"), _number("time"), _text("coil", 200), _number("gap", needed=False),
    _json("setting"), _json("readings"), _json("events"), _text("outcome"), _text("remark"),
    _text("photo"), _text("photo_digest", 64), _text("trace_name"),
    sa.Column("trace_digest", sa.ForeignKey("attachment.digest"), nullable=True),
    _json("fit", needed=False),
)  # fmt: skip

# A value a trial taught: the key of the job file, the value as written there, and where it was written.
fitted = sa.Table(
    "fitted", meta,
    _key(), _to("trial.id"), _text("key"), _text("value"), _text("uncertainty"),
    _to("job_version.id", "written_to", needed=False),
)  # fmt: skip

hand_over = sa.Table(
    "hand_over", meta,
    _key(), _to("machine.id"), _to("job_version.id", needed=False), _number("time"), _json("record"),
)  # fmt: skip

hand_over_reading = sa.Table(
    "hand_over_reading", meta,
    _key(), _to("hand_over.id"), _text("what", 40),
    sa.Column("station", sa.Integer, nullable=False),
    _text("condition", 10), _text("state", 10), _number("value"), _number("sigma"), _number("predicted", needed=False),
)  # fmt: skip
