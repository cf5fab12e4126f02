"""The tables, and how an older file is brought up to date: numbered steps, applied once each, in order."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

import sqlalchemy as sa

from coilwright.errors import BadInput, Fault

meta = sa.MetaData()

version_table = sa.Table("version", meta, sa.Column("number", sa.Integer, nullable=False))

machine = sa.Table(
    "machine", meta,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("name", sa.String(80), nullable=False, unique=True),
)  # fmt: skip

# One delivery of rows: a file, or a day of listening.
delivery = sa.Table(
    "delivery", meta,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("name", sa.String(500), nullable=False),
    sa.Column("digest", sa.String(64), nullable=False, unique=True),
)  # fmt: skip

# A shot is known by machine, station, time and tray; `time` in seconds since 1970 by the machine's own clock.
shot = sa.Table(
    "shot", meta,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("machine_id", sa.ForeignKey("machine.id"), nullable=False),
    sa.Column("station", sa.Integer, nullable=False),
    sa.Column("time", sa.Float, nullable=False),
    sa.Column("tray", sa.String(80), nullable=False),
    sa.Column("batch", sa.String(80), nullable=False),
    sa.Column("recipe", sa.String(80), nullable=False),
    sa.Column("bad", sa.Integer, nullable=False),
    sa.Column("readings", sa.JSON, nullable=True),
    sa.Column("delivery_id", sa.ForeignKey("delivery.id"), nullable=False),
    sa.UniqueConstraint("machine_id", "time", "station", "tray", name="one_shot"),
)  # fmt: skip

# Rows that could not be taken, word for word, with the reason.
aside = sa.Table(
    "aside", meta,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("delivery_id", sa.ForeignKey("delivery.id"), nullable=False),
    sa.Column("row", sa.Integer, nullable=False),
    sa.Column("reason", sa.String(40), nullable=False),
    sa.Column("why", sa.String(500), nullable=False),
    sa.Column("text", sa.Text, nullable=False),
    sa.UniqueConstraint("delivery_id", "row", name="one_aside"),
)  # fmt: skip


def _first(connection: sa.Connection) -> None:
    meta.create_all(connection, tables=[machine, delivery, shot, aside])


# Append only: a step that stands in a released file must stay as it is.
STEPS: Final[Sequence[Callable[[sa.Connection], None]]] = (_first,)


def bring_up_to_date(engine: sa.Engine) -> int:
    """Apply the steps an older (or empty) database lacks; the version number it then has. Raises BadInput when newer."""
    with engine.begin() as connection:
        version_table.create(connection, checkfirst=True)
        have = connection.scalar(sa.select(version_table.c.number))
        if have is None:
            connection.execute(version_table.insert().values(number=0))
            have = 0
        if have > len(STEPS):
            what = (
                f"was written by a newer coilwright (format {have}, known {len(STEPS)}); update coilwright to read it"
            )
            raise BadInput(Fault(str(engine.url.database or engine.url), what))
        for step in STEPS[have:]:
            step(connection)
        connection.execute(version_table.update().values(number=len(STEPS)))
    return len(STEPS)
