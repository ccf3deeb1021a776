"""Crankpins and main journals are two kinds of part; ends of turbochargers have names of their own.

What was called a crank journal becomes a main journal, whose numbers it was given; "heat marked"
becomes "blued". The journal's entries are renamed with the records, so that they can be undone.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"

PART = "crank_journal", "main_journal"
MODE = "heat_marked", "blued"
TURBO = "turbo_bearing"
ENDS = {"intake": "compressor", "exhaust": "turbine"}
NAMING = ("part", "kind")
"""Columns that name a kind of part."""


def upgrade() -> None:
    """Rename parts, damage modes and positions."""
    connection = op.get_bind()
    for name, column in (
        ("part", "kind"),
        ("finding", "part"),
        ("sheet_line", "part"),
        ("built_measurement", "part"),
    ):
        table = sa.table(name, sa.column(column), sa.column("position"))
        named = table.c[column]
        connection.execute(sa.update(table).where(named == PART[0]).values({column: PART[1]}))
        if name != "part":
            _rename_ends(connection, table, named == TURBO)
    finding = sa.table("finding", sa.column("damage_mode"))
    marked = finding.c.damage_mode == MODE[0]
    connection.execute(sa.update(finding).where(marked).values(damage_mode=MODE[1]))
    part = sa.table("part", sa.column("part_id"), sa.column("kind"))
    fitment = sa.table("fitment", sa.column("part_id"), sa.column("position"))
    turbos = sa.select(part.c.part_id).where(part.c.kind == TURBO)
    _rename_ends(connection, fitment, fitment.c.part_id.in_(turbos))
    _rename_in_journal(connection, set(connection.scalars(turbos)))


def _rename_ends(
    connection: sa.Connection, table: sa.TableClause, where: sa.ColumnElement[bool]
) -> None:
    for was, now in ENDS.items():
        here = sa.and_(where, table.c.position == was)
        connection.execute(sa.update(table).where(here).values(position=now))


def _rename_in_journal(connection: sa.Connection, turbo_ids: set[str]) -> None:
    change = sa.table(
        "journal_change",
        *(sa.column(name) for name in ("journal_id", "place")),
        *(sa.column(name, sa.JSON(none_as_null=True)) for name in ("about", "before", "after")),
    )
    for row in connection.execute(sa.select(change)).mappings().all():
        about = row["about"] or {}
        turbo = TURBO in (about.get("part"), about.get("kind")) or about.get("part_id") in turbo_ids
        renamed = {name: _renamed(row[name], turbo) for name in ("about", "before", "after")}
        if any(renamed[name] != row[name] for name in renamed):
            here = (change.c.journal_id == row["journal_id"]) & (change.c.place == row["place"])
            connection.execute(sa.update(change).where(here).values(renamed))


def _renamed(values: dict[str, Any] | None, turbo: bool) -> dict[str, Any] | None:
    if values is None:
        return None
    found = dict(values)
    for name in NAMING:
        if found.get(name) == PART[0]:
            found[name] = PART[1]
    if found.get("damage_mode") == MODE[0]:
        found["damage_mode"] = MODE[1]
    if turbo and found.get("position") in ENDS:
        found["position"] = ENDS[found["position"]]
    return found
