"""The shot log: machines, deliveries, shots, rows set aside."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision: str | None = None


def upgrade() -> None:
    op.create_table(
        "machine",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("name", sa.String(80), nullable=False, unique=True),
    )
    op.create_table(
        "delivery",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("name", sa.String(500), nullable=False),
        sa.Column("digest", sa.String(64), nullable=False, unique=True),
    )
    op.create_table(
        "shot",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("machine_id", sa.Integer, sa.ForeignKey("machine.id"), nullable=False),
        sa.Column("station", sa.Integer, nullable=False),
        sa.Column("time", sa.Float, nullable=False),
        *(sa.Column(name, sa.String(80), nullable=False) for name in ("tray", "batch", "recipe")),
        sa.Column("bad", sa.Integer, nullable=False),
        sa.Column("readings", sa.JSON, nullable=True),
        sa.Column("delivery_id", sa.Integer, sa.ForeignKey("delivery.id"), nullable=False),
        sa.UniqueConstraint("machine_id", "time", "station", "tray", name="one_shot"),
    )
    op.create_table(
        "aside",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("delivery_id", sa.Integer, sa.ForeignKey("delivery.id"), nullable=False),
        sa.Column("row", sa.Integer, nullable=False),
        sa.Column("reason", sa.String(40), nullable=False),
        sa.Column("why", sa.String(500), nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        sa.UniqueConstraint("delivery_id", "row", name="one_aside"),
    )
