"""What stays of shots that are dropped for their age: sums by hour, readings by hour, trays by day."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.create_table(
        "shot_summary",
        *_of_machine("hour"),
        sa.Column("station", sa.Integer, nullable=False),
        *(sa.Column(name, sa.String(80), nullable=False) for name in ("batch", "recipe")),
        *(sa.Column(name, sa.Integer, nullable=False) for name in ("tried", "bad")),
        sa.UniqueConstraint("machine_id", "hour", "station", "batch", "recipe", name="one_shot_summary"),
    )
    op.create_table(
        "reading_summary",
        *_of_machine("hour"),
        sa.Column("station", sa.Integer, nullable=False),
        sa.Column("name", sa.String(80), nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        *(sa.Column(name, sa.Float, nullable=False) for name in ("mean", "variance")),
        sa.UniqueConstraint("machine_id", "hour", "station", "name", name="one_reading_summary"),
    )
    op.create_table(
        "tray_summary",
        *_of_machine("day"),
        *(sa.Column(name, sa.Integer, nullable=False) for name in ("tried", "bad", "trays")),
        sa.UniqueConstraint("machine_id", "day", "tried", "bad", name="one_tray_summary"),
    )


def _of_machine(time: str) -> list[sa.Column[int]]:
    return [
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("machine_id", sa.Integer, sa.ForeignKey("machine.id"), nullable=False),
        sa.Column(time, sa.Integer, nullable=False),
    ]
