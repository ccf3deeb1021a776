"""What every turn takes of rods and springs."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    """Keep the fatigue of runs; that of older ones is unknown until they are judged again."""
    op.add_column("exposure", sa.Column("rod_fatigue_s", sa.Double(), nullable=True))
    op.add_column("exposure", sa.Column("spring_fatigue_s", sa.Double(), nullable=True))
