"""Events say from which sort of acceleration the oil ran away, braking among them."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    """Add the direction; that of corners is the side they turned to."""
    op.add_column("event", sa.Column("direction", sa.String(16), nullable=True))
    event = sa.table("event", sa.column("side"), sa.column("direction"))
    op.execute(sa.update(event).values(direction=event.c.side))
