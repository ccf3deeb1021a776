"""What would settle a refused log is a value, not an option of a command."""

from __future__ import annotations

import shlex

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"

OPEN = {"HEADER", "UNIT", "RATEHz", "CHANNEL", "WHEN"}
"""Stood for what the reader had to say."""


def upgrade() -> None:
    """Read what was written as options, this once."""
    connection = op.get_bind()
    refusal = sa.table(
        "refusal", sa.column("sha256"), sa.column("option"), sa.column("remedies", sa.JSON())
    )
    added = sa.Column("remedies", sa.JSON(), nullable=False, server_default="[]")
    op.add_column("refusal", added)
    for sha256, option in connection.execute(sa.select(refusal.c.sha256, refusal.c.option)).all():
        here = refusal.c.sha256 == sha256
        told = _remedies(option or "")
        connection.execute(sa.update(refusal).where(here).values(remedies=told))
    op.drop_column("refusal", "option")


def _remedies(options: str) -> list[dict[str, str]]:
    try:
        words = shlex.split(options)
    except ValueError:
        return []  # a quotation mark in the name of a column
    found = []
    while words:
        option = words.pop(0).removeprefix("--").replace("-", "_")
        target, value = "", words.pop(0) if words else ""
        if option in ("unit", "map", "swap"):
            target, _, value = value.rpartition("=")
        elif option in ("zero", "without"):
            target, value = value, ""
        told = {"option": option, "target": target, "value": value}
        found.append({key: "" if text in OPEN else text for key, text in told.items()})
    return found
