"""The exposure of a run: keeping it, and finding it again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from sqlalchemy import delete, insert, select
from sqlalchemy.orm import Session

from babbitt.model.exposure import Exposure, RunningTable
from babbitt.register.tables.models import ExposureRow, ExposureWatchRow


def save_exposure(session: Session, run_id: str, exposure: Exposure) -> None:
    """Keep the exposure of a run in place of any kept before.

    Args:
        session: of a writing transaction.
        run_id: the run.
        exposure: what it put on the engine.
    """
    values = asdict(exposure)
    watched = values.pop("watched_s")
    session.merge(ExposureRow(run_id=run_id, running_table=values.pop("table"), **values))
    session.flush()
    session.execute(delete(ExposureWatchRow).where(ExposureWatchRow.run_id == run_id))
    rows = [{"run_id": run_id, "kind": kind, "watched_s": s} for kind, s in watched.items()]
    if rows:
        session.execute(insert(ExposureWatchRow), rows)


def exposure_of(session: Session, run_id: str) -> Exposure | None:
    """Return the exposure of a run; None for unlogged running, of which little is known."""
    row = session.get(ExposureRow, run_id)
    if row is None or row.revolutions is None or row.starts is None or row.running_table is None:
        return None
    watched = select(ExposureWatchRow).where(ExposureWatchRow.run_id == run_id)
    return Exposure(
        running_s=row.running_s,
        revolutions=row.revolutions,
        starts=row.starts,
        heat_cycles=row.heat_cycles,
        rod_fatigue_s=row.rod_fatigue_s,
        spring_fatigue_s=row.spring_fatigue_s,
        watched_s={each.kind: each.watched_s for each in session.scalars(watched)},
        table=to_running_table(row.running_table),
        peak_rpm=row.peak_rpm,
        peak_mean_piston_speed_m_s=row.peak_mean_piston_speed_m_s,
        peak_piston_acceleration_m_s2=row.peak_piston_acceleration_m_s2,
        peak_oil_angle_left_deg=row.peak_oil_angle_left_deg,
        peak_oil_angle_right_deg=row.peak_oil_angle_right_deg,
        least_boiling_margin_k=row.least_boiling_margin_k,
    )


def to_running_table(raw: Mapping[str, Any]) -> RunningTable:
    """Return the table that a row keeps."""
    return RunningTable(
        rpm_edges=tuple(raw["rpm_edges"]),
        boost_edges_kpa=tuple(raw["boost_edges_kpa"]),
        seconds=tuple(tuple(row) for row in raw["seconds"]),
    )
