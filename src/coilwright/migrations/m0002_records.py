"""The records: jobs and their versions, readings, coils, capacitors, trials and what they taught, hand-overs."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    _jobs()
    _shelf()
    _trials()
    _hand_overs()


def _key() -> sa.Column[int]:
    return sa.Column("id", sa.Integer, primary_key=True)


def _to(name: str, target: str, needed: bool = True) -> sa.Column[Any]:
    kind = sa.String(64) if target.endswith(".digest") else sa.Integer()
    return sa.Column(name, kind, sa.ForeignKey(target), nullable=not needed, index=True)


def _words(*names: str, length: int | None = None) -> list[sa.Column[Any]]:
    kind = sa.Text() if length is None else sa.String(length)
    return [sa.Column(name, kind, nullable=False) for name in names]


def _numbers(*names: str, needed: bool = True) -> list[sa.Column[Any]]:
    return [sa.Column(name, sa.Float, nullable=not needed) for name in names]


def _tables(*names: str, needed: bool = True) -> list[sa.Column[Any]]:
    return [sa.Column(name, sa.JSON, nullable=not needed) for name in names]


def _name() -> sa.Column[Any]:
    return sa.Column("name", sa.String(200), nullable=False, unique=True)


def _jobs() -> None:
    op.create_table("job", _key(), _name(), *_numbers("time"), *_words("origin"))
    op.create_table("job_text", sa.Column("digest", sa.String(64), primary_key=True), *_words("text"))
    op.create_table(
        "job_version",
        _key(),
        _to("job_id", "job.id"),
        sa.Column("number", sa.Integer, nullable=False),
        _to("digest", "job_text.digest"),
        *_numbers("time"),
        *_words("note"),
        *_tables("figures"),
        sa.UniqueConstraint("job_id", "number", name="one_version"),
    )
    op.create_table(
        "job_reading", _key(), _to("job_id", "job.id"), *_numbers("time"), *_words("source"), *_tables("readings")
    )


def _shelf() -> None:
    version = _to("job_version_id", "job_version.id", needed=False)
    op.create_table("coil", _key(), _name(), version, *_numbers("time"), *_tables("winding"), *_words("notes"))
    op.create_table(
        "coil_reading",
        _key(),
        _to("coil_id", "coil.id"),
        *_numbers("time", "frequency"),
        *_words("state", length=10),
        *_numbers("inductance", "inductance_sigma", "resistance", "resistance_sigma"),
        *_numbers("designed_inductance", "designed_resistance", needed=False),
        *_words("how"),
    )
    op.create_table(
        "capacitor",
        _key(),
        _name(),
        *_numbers("time"),
        sa.Column("count", sa.Integer, nullable=False),
        *_numbers("capacitance", "tolerance", "loss_tangent", "price", "temperature_coefficient"),
        *_tables("ratings"),
        *_words("notes"),
    )
    op.create_table(
        "capacitor_reading",
        _key(),
        _to("capacitor_id", "capacitor.id"),
        *_numbers("time", "frequency", "capacitance", "capacitance_sigma"),
        *_numbers("resistance", "resistance_sigma", needed=False),
        *_words("how"),
    )


def _trials() -> None:
    op.create_table(
        "attachment",
        sa.Column("digest", sa.String(64), primary_key=True),
        sa.Column("content", sa.LargeBinary, nullable=False),
    )
    op.create_table(
        "trial",
        _key(),
        _to("job_version_id", "job_version.id"),
        *_numbers("time"),
        *_words("coil", length=200),
        *_numbers("gap", needed=False),
        *_tables("setting", "readings", "events"),
        *_words("outcome", "remark", "photo"),
        *_words("photo_digest", length=64),
        *_words("trace_name"),
        sa.Column("trace_digest", sa.String(64), sa.ForeignKey("attachment.digest"), nullable=True),
        *_tables("fit", needed=False),
    )
    op.create_table(
        "fitted",
        _key(),
        _to("trial_id", "trial.id"),
        *_words("key", "value", "uncertainty"),
        _to("written_to", "job_version.id", needed=False),
    )


def _hand_overs() -> None:
    op.create_table(
        "hand_over",
        _key(),
        _to("machine_id", "machine.id"),
        _to("job_version_id", "job_version.id", needed=False),
        *_numbers("time"),
        *_tables("record"),
    )
    op.create_table(
        "hand_over_reading",
        _key(),
        _to("hand_over_id", "hand_over.id"),
        *_words("what", length=40),
        sa.Column("station", sa.Integer, nullable=False),
        *_words("condition", "state", length=10),
        *_numbers("value", "sigma"),
        *_numbers("predicted", needed=False),
    )
