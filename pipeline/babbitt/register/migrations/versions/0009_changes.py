"""Dated alterations of an engine or its car."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"


def upgrade() -> None:
    """Keep changes; none was written down before."""
    op.create_table(
        "change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("engine_id", sa.String(64), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("sort", sa.String(16), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_change"),
        sa.ForeignKeyConstraint(
            ["engine_id"], ["engine.engine_id"], name="fk_change_engine_id_engine"
        ),
    )
    op.create_index("ix_change_engine_id", "change", ["engine_id"])
