"""How a run was read, what its sensors read, and what speaks against them."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Keep how runs were read and what is made of their sensors; older runs have neither."""
    op.add_column("run", sa.Column("read_as", sa.JSON(none_as_null=True), nullable=True))
    op.add_column("run", sa.Column("trusted", sa.Boolean(), server_default="0", nullable=False))
    op.add_column("run", sa.Column("doubts", sa.JSON(), server_default="[]", nullable=False))
    op.add_column("run", sa.Column("doubts_key", sa.String(16), server_default="", nullable=False))
    op.create_table(
        "sensor_summary",
        sa.Column("run_id", sa.String(32), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("key", sa.String(16), nullable=False),
        sa.Column("compared_by", sa.String(16), nullable=True),
        sa.PrimaryKeyConstraint("run_id", name="pk_sensor_summary"),
        sa.ForeignKeyConstraint(["run_id"], ["run.run_id"], name="fk_sensor_summary_run_id_run"),
    )
