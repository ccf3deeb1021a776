"""The first schema: engines, specs, refreshes, runs, exposures, events, reviews and the journal."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables, parents first."""
    _make_engine_tables()
    _make_run_tables()
    _make_event_tables()
    op.create_table(
        "journal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("engine_id", sa.String(64), nullable=True),
        sa.Column("action", sa.String(32), nullable=False),
        sa.Column("what", sa.JSON(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_journal"),
        _of_engine("journal"),
    )
    op.create_index("ix_journal_engine_id_id", "journal", ["engine_id", "id"])


def _make_engine_tables() -> None:
    op.create_table(
        "engine",
        sa.Column("engine_id", sa.String(64), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("built_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("engine_id", name="pk_engine"),
    )
    op.create_table(
        "engine_spec",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("engine_id", sa.String(64), nullable=False),
        sa.Column("toml", sa.Text(), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_engine_spec"),
        _of_engine("engine_spec"),
    )
    op.create_index("ix_engine_spec_engine_id", "engine_spec", ["engine_id"])
    op.create_table(
        "refresh",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("engine_id", sa.String(64), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_refresh"),
        sa.UniqueConstraint("engine_id", "at", name="uq_refresh_engine_id_at"),
        _of_engine("refresh"),
    )
    op.create_table(
        "surface",
        sa.Column("engine_id", sa.String(64), nullable=False),
        sa.Column("build", sa.String(40), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("key", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("engine_id", "build", name="pk_surface"),
        _of_engine("surface"),
    )


def _make_run_tables() -> None:
    op.create_table(
        "run",
        sa.Column("run_id", sa.String(32), nullable=False),
        sa.Column("engine_id", sa.String(64), nullable=False),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("start_basis", sa.String(8), nullable=False),
        sa.Column("duration_s", sa.Double(), nullable=False),
        sa.Column("samples", sa.Integer(), nullable=False),
        sa.Column("source_name", sa.Text(), nullable=False),
        sa.Column("source_sha256", sa.String(64), nullable=True),
        sa.Column("dialect", sa.JSON(), nullable=False),
        sa.Column("conversions", sa.JSON(), nullable=False),
        sa.Column("warnings", sa.JSON(), nullable=False),
        sa.Column("channels", sa.JSON(), nullable=False),
        sa.Column("ingested_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("removed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("unlogged", sa.Boolean(), nullable=False),
        sa.Column("judged_by", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("run_id", name="pk_run"),
        _of_engine("run"),
    )
    op.create_index("ix_run_engine_id_started_at", "run", ["engine_id", "started_at"])
    op.create_index("ix_run_source_sha256", "run", ["source_sha256"])
    op.create_table(
        "exposure",
        sa.Column("run_id", sa.String(32), nullable=False),
        sa.Column("running_s", sa.Double(), nullable=False),
        sa.Column("revolutions", sa.Double(), nullable=True),
        sa.Column("starts", sa.Integer(), nullable=True),
        sa.Column("heat_cycles", sa.Double(), nullable=True),
        sa.Column("running_table", sa.JSON(), nullable=True),
        sa.Column("peak_rpm", sa.Double(), nullable=True),
        sa.Column("peak_mean_piston_speed_m_s", sa.Double(), nullable=True),
        sa.Column("peak_piston_acceleration_m_s2", sa.Double(), nullable=True),
        sa.Column("peak_oil_angle_left_deg", sa.Double(), nullable=True),
        sa.Column("peak_oil_angle_right_deg", sa.Double(), nullable=True),
        sa.Column("least_boiling_margin_k", sa.Double(), nullable=True),
        sa.PrimaryKeyConstraint("run_id", name="pk_exposure"),
        _of_run("exposure"),
    )
    op.create_table(
        "exposure_watch",
        sa.Column("run_id", sa.String(32), nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("watched_s", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("run_id", "kind", name="pk_exposure_watch"),
        _of_run("exposure_watch"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "steady_pressure",
        sa.Column("run_id", sa.String(32), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("run_id", name="pk_steady_pressure"),
        _of_run("steady_pressure"),
    )


def _make_event_tables() -> None:
    op.create_table(
        "event",
        sa.Column("run_id", sa.String(32), nullable=False),
        sa.Column("event_id", sa.String(32), nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("start_s", sa.Double(), nullable=False),
        sa.Column("end_s", sa.Double(), nullable=False),
        sa.Column("duration_s", sa.Double(), nullable=False),
        sa.Column("peak", sa.Double(), nullable=False),
        sa.Column("peak_s", sa.Double(), nullable=False),
        sa.Column("peak_unit", sa.String(16), nullable=False),
        sa.Column("dose", sa.Double(), nullable=False),
        sa.Column("dose_unit", sa.String(16), nullable=False),
        sa.Column("cause", sa.String(32), nullable=True),
        sa.Column("side", sa.String(8), nullable=True),
        sa.Column("ended_by", sa.String(16), nullable=False),
        sa.Column("confidence", sa.Text(), nullable=False),
        sa.Column("review", sa.String(16), nullable=True),
        sa.Column("spec_version", sa.String(16), nullable=False),
        sa.PrimaryKeyConstraint("run_id", "event_id", name="pk_event"),
        _of_run("event"),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_event_event_id", "event", ["event_id"])
    op.create_table(
        "review",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.String(32), nullable=False),
        sa.Column("event_id", sa.String(32), nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("start_s", sa.Double(), nullable=False),
        sa.Column("end_s", sa.Double(), nullable=False),
        sa.Column("verdict", sa.String(16), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_review"),
        _of_run("review"),
    )
    op.create_index("ix_review_run_id", "review", ["run_id"])


def _of_engine(table: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        ["engine_id"], ["engine.engine_id"], name=f"fk_{table}_engine_id_engine"
    )


def _of_run(table: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(["run_id"], ["run.run_id"], name=f"fk_{table}_run_id_run")
