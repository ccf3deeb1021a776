"""Where on a circuit a run was, and an event with it."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    """Keep laps, corners and their names; those of older runs are found at the next judging."""
    op.add_column("event", sa.Column("lap", sa.Integer(), nullable=True))
    op.add_column("event", sa.Column("corner", sa.Integer(), nullable=True))
    op.create_table(
        "run_layout",
        sa.Column("run_id", sa.String(32), nullable=False),
        sa.Column("key", sa.String(80), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("run_id", name="pk_run_layout"),
        sa.ForeignKeyConstraint(["run_id"], ["run.run_id"], name="fk_run_layout_run_id_run"),
    )
    op.create_table(
        "lap",
        sa.Column("run_id", sa.String(32), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False, autoincrement=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(8), nullable=False),
        sa.Column("start_s", sa.Double(), nullable=False),
        sa.Column("end_s", sa.Double(), nullable=False),
        sa.Column("length_m", sa.Double(), nullable=True),
        sa.PrimaryKeyConstraint("run_id", "place", name="pk_lap"),
        sa.ForeignKeyConstraint(["run_id"], ["run.run_id"], name="fk_lap_run_id_run"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "corner_name",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("circuit", sa.String(64), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(64), nullable=False),
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_corner_name"),
    )
    op.create_index("ix_corner_name_circuit", "corner_name", ["circuit"])
