"""Where runs were driven, and which logs were refused."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Keep the circuit of runs and the logs that were refused; of older ones neither is known."""
    op.add_column("run", sa.Column("circuit", sa.String(64), nullable=True))
    op.create_table(
        "refusal",
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("file", sa.Text(), nullable=False),
        sa.Column("engine_id", sa.String(64), nullable=False),
        sa.Column("error", sa.Text(), nullable=False),
        sa.Column("option", sa.Text(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("set_aside_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("sha256", name="pk_refusal"),
        sa.ForeignKeyConstraint(
            ["engine_id"], ["engine.engine_id"], name="fk_refusal_engine_id_engine"
        ),
    )
    op.create_index("ix_run_circuit_ingested_at", "run", ["circuit", "ingested_at"])
    op.create_index("ix_refusal_engine_id", "refusal", ["engine_id"])
