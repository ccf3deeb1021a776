"""What would mend a sensor is a value, not options of a command."""

from __future__ import annotations

import shlex

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"


def upgrade() -> None:
    """Read what was written as options, this once."""
    connection = op.get_bind()
    run = sa.table("run", sa.column("run_id"), sa.column("doubts", sa.JSON()))
    for run_id, doubts in connection.execute(sa.select(run.c.run_id, run.c.doubts)).all():
        if doubts:
            told = [each | {"remedies": _remedies(each.pop("options"))} for each in doubts]
            here = run.c.run_id == run_id
            connection.execute(sa.update(run).where(here).values(doubts=told))


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
        found.append({key: "" if text == "WHEN" else text for key, text in told.items()})
    return found
