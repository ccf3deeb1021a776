"""The builder's record: parts, build sheets and teardowns; changes that can be undone."""

from __future__ import annotations

from collections import defaultdict, deque
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

_INSTANT = sa.DateTime(timezone=True)


def upgrade() -> None:
    """Count versions, keep what is withdrawn, split the journal, and add the new tables."""
    for table in ("engine", "engine_spec", "refresh", "run", "review"):
        op.add_column(table, _version())
        if table != "run":
            op.add_column(table, sa.Column("withdrawn_at", _INSTANT, nullable=True))
    # A refresh that was withdrawn may lie where another one is.
    with op.batch_alter_table("refresh") as batch:
        batch.drop_constraint("uq_refresh_engine_id_at", type_="unique")
        batch.create_index("ix_refresh_engine_id_at", ["engine_id", "at"])
    _split_journal()
    _make_part_tables()
    _make_sheet_tables()
    _make_teardown_tables()


def _split_journal() -> None:
    entries = _old_entries()
    op.drop_index("ix_journal_engine_id_id", "journal")
    with op.batch_alter_table("journal") as batch:
        batch.add_column(sa.Column("undoes", sa.Integer(), nullable=True))
        batch.drop_constraint("fk_journal_engine_id_engine", type_="foreignkey")
        batch.drop_column("engine_id")
        batch.drop_column("what")
        batch.create_foreign_key("fk_journal_undoes_journal", "journal", ["undoes"], ["id"])
        batch.create_index("ix_journal_undoes", ["undoes"])
    changes = op.create_table(
        "journal_change",
        sa.Column("journal_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False, autoincrement=False),
        sa.Column("record", sa.String(32), nullable=False),
        sa.Column("record_id", sa.String(64), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("about", sa.JSON(), nullable=False),
        sa.Column("before", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("after", sa.JSON(none_as_null=True), nullable=True),
        sa.PrimaryKeyConstraint("journal_id", "place", name="pk_journal_change"),
        _refers("journal_change", "journal_id", "journal.id"),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_journal_change_record_record_id", "journal_change", ["record", "record_id"])
    engines = op.create_table(
        "journal_engine",
        sa.Column("engine_id", sa.String(64), nullable=False),
        sa.Column("journal_id", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("engine_id", "journal_id", name="pk_journal_engine"),
        _refers("journal_engine", "engine_id", "engine.engine_id"),
        _refers("journal_engine", "journal_id", "journal.id"),
        sqlite_with_rowid=False,
    )
    op.bulk_insert(changes, _changes_of(entries))
    op.bulk_insert(engines, _engines_of(entries))


def _old_entries() -> list[Any]:
    """Return the journal's entries, oldest first.

    An assigned run used to have two, one for either engine; the second tells of both.
    """
    journal = sa.table("journal", sa.column("id"), sa.column("action"))
    op.execute(journal.delete().where(journal.c.action == "run assigned away"))
    rows = sa.table(
        "journal",
        sa.column("id", sa.Integer()),
        sa.column("engine_id", sa.String()),
        sa.column("action", sa.String()),
        sa.column("what", sa.JSON()),
        sa.column("reason", sa.Text()),
    )
    return list(op.get_bind().execute(sa.select(rows).order_by(rows.c.id)))


def _engines_of(entries: list[Any]) -> list[dict[str, Any]]:
    found = []
    for entry in entries:
        before = entry.what.get("before") or {}
        concerned = {entry.engine_id, before.get("engine_id")} - {None}
        found += [{"engine_id": name, "journal_id": entry.id} for name in sorted(concerned)]
    return found


def _changes_of(entries: list[Any]) -> list[dict[str, Any]]:
    """Return what the entries did as changes of records; every record is at its first version."""
    records = _Records()
    return [
        {
            "journal_id": entry.id,
            "place": place,
            "record": record,
            "record_id": str(record_id),
            "version": 1,
            "about": about,
            "before": before,
            "after": after,
        }
        for entry in entries
        for place, (record, record_id, about, before, after) in enumerate(records.changed(entry))
    ]


class _Records:
    """The records that the old journal speaks of, in the order in which they were made."""

    def __init__(self) -> None:
        self._specs: dict[str, deque[Any]] = defaultdict(deque)
        for row in _rows("engine_spec", "id", "engine_id", "toml"):
            self._specs[row.engine_id].append(row)
        self._reviews: dict[tuple[str, str], deque[Any]] = defaultdict(deque)
        for row in _rows("review", "id", "run_id", "event_id", "verdict", "note"):
            self._reviews[row.run_id, row.event_id].append(row)
        self._refreshes = {
            (row.engine_id, _text(row.at)): row for row in _rows("refresh", "id", "engine_id", "at")
        }
        self._runs = {
            row.run_id: row for row in _rows("run", "run_id", "engine_id", "started_at", "unlogged")
        }

    def changed(self, entry: Any) -> list[tuple[str, Any, dict[str, Any], Any, Any]]:
        """Return (record, key, about, before, after) of each record that an entry changed."""
        what, engine_id = entry.what, entry.engine_id
        of_engine = {"engine_id": engine_id}
        match entry.action:
            case "engine add":
                built = {**of_engine, "built_at": what["after"]["built_at"]}
                return [("engine", engine_id, of_engine, None, built), self._spec(engine_id)]
            case "engine spec":
                return [self._spec(engine_id)]
            case "engine refresh":
                refresh = {**of_engine, "at": what["after"]["at"]}
                row = self._refreshes[engine_id, refresh["at"]]
                return [("refresh", row.id, refresh, None, {**refresh, "note": entry.reason})]
            case "review":
                row = self._reviews[what["run"], what["event"]].popleft()
                about = {"event_id": row.event_id, "verdict": row.verdict}
                return [("review", row.id, about, None, {**about, "note": row.note})]
            case "run add-unlogged":
                after = {
                    **self._run(what["run"]),
                    "duration_s": 60.0 * what["after"]["minutes"],
                    "engine_id": engine_id,
                    "removed_at": None,
                }
                return [("run", what["run"], self._run(what["run"]), None, after)]
            case _:  # a run that was assigned, removed, restored or taken in anew
                about = self._run(what["run"])
                return [("run", what["run"], about, what["before"], what["after"])]

    def _spec(self, engine_id: str) -> tuple[str, Any, dict[str, Any], Any, Any]:
        row = self._specs[engine_id].popleft()
        about = {"engine_id": engine_id}
        return "engine_spec", row.id, about, None, {**about, "toml": row.toml}

    def _run(self, run_id: str) -> dict[str, Any]:
        row = self._runs[run_id]
        return {
            "run_id": run_id,
            "engine_id": row.engine_id,
            "started_at": _text(row.started_at),
            "unlogged": bool(row.unlogged),
        }


def _rows(table: str, *columns: str) -> list[Any]:
    """Return rows in the order of their first column."""
    instants = {"at", "started_at"}
    made = [sa.column(name, _INSTANT if name in instants else None) for name in columns]
    return list(
        op.get_bind().execute(
            sa.select(*made).select_from(sa.table(table, *made)).order_by(made[0])
        )
    )


def _text(at: datetime) -> str:
    """Return an instant as the journal writes it; SQLite keeps no zone."""
    return (at.replace(tzinfo=UTC) if at.tzinfo is None else at.astimezone(UTC)).isoformat()


def _make_part_tables() -> None:
    op.create_table(
        "part",
        sa.Column("part_id", sa.String(64), nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        *_kept(),
        sa.PrimaryKeyConstraint("part_id", name="pk_part"),
    )
    op.create_index("ix_part_kind", "part", ["kind"])
    op.create_table(
        "fitment",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part_id", sa.String(64), nullable=False),
        sa.Column("engine_id", sa.String(64), nullable=False),
        sa.Column("position", sa.String(16), nullable=True),
        sa.Column("since", _INSTANT, nullable=False),
        sa.Column("until", _INSTANT, nullable=True),
        *_kept(),
        sa.PrimaryKeyConstraint("id", name="pk_fitment"),
        _refers("fitment", "part_id", "part.part_id"),
        _refers("fitment", "engine_id", "engine.engine_id"),
    )
    op.create_index("ix_fitment_part_id", "fitment", ["part_id"])
    op.create_index("ix_fitment_engine_id", "fitment", ["engine_id"])
    op.create_table(
        "work",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part_id", sa.String(64), nullable=False),
        sa.Column("shop", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("since", _INSTANT, nullable=False),
        sa.Column("due", _INSTANT, nullable=True),
        sa.Column("back_at", _INSTANT, nullable=True),
        sa.Column("result", sa.Text(), nullable=False),
        *_kept(),
        sa.PrimaryKeyConstraint("id", name="pk_work"),
        _refers("work", "part_id", "part.part_id"),
    )
    op.create_index("ix_work_part_id", "work", ["part_id"])
    op.create_table(
        "history",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("engine_id", sa.String(64), nullable=True),
        sa.Column("part_id", sa.String(64), nullable=True),
        sa.Column("running_s", sa.Double(), nullable=False),
        sa.Column("revolutions", sa.Double(), nullable=True),
        sa.Column("until", _INSTANT, nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        *_kept(),
        sa.PrimaryKeyConstraint("id", name="pk_history"),
        _refers("history", "engine_id", "engine.engine_id"),
        _refers("history", "part_id", "part.part_id"),
    )
    op.create_index("ix_history_engine_id", "history", ["engine_id"])
    op.create_index("ix_history_part_id", "history", ["part_id"])


def _make_sheet_tables() -> None:
    op.create_table(
        "sheet_line",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("engine_id", sa.String(64), nullable=False),
        sa.Column("refresh_id", sa.Integer(), nullable=True),
        sa.Column("part", sa.String(32), nullable=False),
        sa.Column("position", sa.String(16), nullable=True),
        sa.Column("action", sa.String(8), nullable=False),
        sa.Column("part_id", sa.String(64), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        *_kept(),
        sa.PrimaryKeyConstraint("id", name="pk_sheet_line"),
        _refers("sheet_line", "engine_id", "engine.engine_id"),
        _refers("sheet_line", "refresh_id", "refresh.id"),
        _refers("sheet_line", "part_id", "part.part_id"),
    )
    op.create_index("ix_sheet_line_engine_id", "sheet_line", ["engine_id"])
    op.create_index("ix_sheet_line_refresh_id", "sheet_line", ["refresh_id"])
    op.create_table(
        "built_measurement",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("engine_id", sa.String(64), nullable=False),
        sa.Column("refresh_id", sa.Integer(), nullable=True),
        sa.Column("part", sa.String(32), nullable=True),
        sa.Column("position", sa.String(16), nullable=True),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("low", sa.Double(), nullable=True),
        sa.Column("high", sa.Double(), nullable=True),
        *_kept(),
        sa.PrimaryKeyConstraint("id", name="pk_built_measurement"),
        _refers("built_measurement", "engine_id", "engine.engine_id"),
        _refers("built_measurement", "refresh_id", "refresh.id"),
    )
    op.create_index("ix_built_measurement_engine_id", "built_measurement", ["engine_id"])
    op.create_index("ix_built_measurement_refresh_id", "built_measurement", ["refresh_id"])


def _make_teardown_tables() -> None:
    op.create_table(
        "teardown",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("engine_id", sa.String(64), nullable=False),
        sa.Column("at", _INSTANT, nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        *_kept(),
        sa.PrimaryKeyConstraint("id", name="pk_teardown"),
        _refers("teardown", "engine_id", "engine.engine_id"),
    )
    op.create_index("ix_teardown_engine_id", "teardown", ["engine_id"])
    op.create_table(
        "finding",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("teardown_id", sa.Integer(), nullable=False),
        sa.Column("part", sa.String(32), nullable=False),
        sa.Column("position", sa.String(16), nullable=True),
        sa.Column("damage_mode", sa.String(32), nullable=True),
        sa.Column("grade", sa.Integer(), nullable=False),
        sa.Column("disposition", sa.String(16), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("photos", sa.JSON(), nullable=False),
        sa.Column("measured_name", sa.Text(), nullable=True),
        sa.Column("measured_value", sa.Double(), nullable=True),
        sa.Column("measured_unit", sa.Text(), nullable=True),
        sa.Column("measured_low", sa.Double(), nullable=True),
        sa.Column("measured_high", sa.Double(), nullable=True),
        *_kept(),
        sa.PrimaryKeyConstraint("id", name="pk_finding"),
        _refers("finding", "teardown_id", "teardown.id"),
    )
    op.create_index("ix_finding_teardown_id", "finding", ["teardown_id"])


def _kept() -> tuple[sa.Column[Any], sa.Column[Any]]:
    return _version(), sa.Column("withdrawn_at", _INSTANT, nullable=True)


def _version() -> sa.Column[Any]:
    return sa.Column("version", sa.Integer(), nullable=False, server_default="1")


def _refers(table: str, column: str, to: str) -> sa.ForeignKeyConstraint:
    other = to.partition(".")[0]
    return sa.ForeignKeyConstraint([column], [to], name=f"fk_{table}_{column}_{other}")
