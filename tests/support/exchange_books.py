"""A logbook with a record of every sort, and logs to take in."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from PIL import Image

from babbitt.ingest.source import Instructions
from babbitt.jobs.ingest import ingest_log
from babbitt.jobs.laps import FINDER
from babbitt.jobs.record_teardown import record_teardown
from babbitt.laps.find import find_layout
from babbitt.laps.motion import motion_of
from babbitt.logbook.folder import Logbook, create_logbook, open_logbook, settings_text
from babbitt.model.finding import Measurement
from babbitt.model.part_records import BuiltMeasurement, SheetLine
from babbitt.register.records import (
    alterations,
    builds,
    corrections,
    engines,
    events,
    fitments,
    history,
    layouts,
    parts,
    work,
)
from invented import SPEC
from planted_circuits import CIRCUITS, Logged, drive

BUILT = datetime(2026, 1, 1, tzinfo=UTC)
REFRESHED = datetime(2026, 5, 20, 8, 0, tzinfo=UTC)
FINDINGS = """
[[finding]]
part = "rod_bearing"
position = "2"
damage_mode = "wiped"
grade = 3
measurement = {name = "clearance", value = 0.071, unit = "mm", low = 0.045, high = 0.065}
disposition = "replace"
note = "=HYPERLINK(1)"
photos = ["shell.png"]
"""


def write_log(folder: Path, name: str, start: str) -> Path:
    """Write a minute's running, rolling ten times a second, with two over-revs."""
    seconds = np.arange(0.0, 60.0, 0.1)
    rpm = np.interp(
        seconds,
        [0, 2, 3, 19, 20, 21, 39, 40, 41, 60],
        [0, 0, 3000, 3000, 8000, 3000, 3000, 7900, 3000, 3000],
    )
    noise = np.random.default_rng(7).normal(0.0, 0.3, (len(seconds), 4))
    columns = np.column_stack([seconds, rpm, noise + np.array([400.0, 90.0, 85.0, 50.0])])
    header = "Time (s),RPM (1/min),Oil Press (kPa),Oil Temp (°C),Water Temp (°C),Boost (kPa)"
    lines = [f"Start,{start}", header]
    lines += [",".join(f"{value:.3f}" for value in row) for row in columns]
    path = folder / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def take_in(book: Logbook, log: Path, engine_id: str = "E1") -> str:
    """Ingest a log, and return its run."""
    intake = ingest_log(book, log, Instructions(engine_id=engine_id))
    assert intake.run_id is not None, intake.error
    return intake.run_id


def make_full_book(folder: Path) -> Logbook:
    """Make a logbook with a record of every sort."""
    book = create_logbook(folder / "book", settings_text(timezone="Europe/Berlin"))
    with book.register.writing("the builder") as session:
        for engine_id in ("E1", "E2"):
            engines.add_engine(session, engine_id, SPEC, built_at=BUILT)
        parts.add_part(session, "CR-1", "crankshaft", note='=1+1 "quoted", and\na second line')
        parts.add_part(session, "-7", "crankshaft", note="@risky")
        fitments.fit_part(session, "CR-1", "E1", at=BUILT)
        fitments.fit_part(session, "-7", "E2", at=BUILT)
        fitments.remove_part(session, "-7", at=datetime(2026, 2, 1, tzinfo=UTC))
        work.send_out(
            session,
            "-7",
            shop="the grinder",
            what="+polish",
            since=datetime(2026, 2, 2, tzinfo=UTC),
        )
        history.add_engine_history(
            session, "E2", running_s=3600.0, until=datetime(2026, 1, 2, tzinfo=UTC)
        )
    first = take_in(book, write_log(folder, "a.csv", "2026-05-03T10:00:00Z"))
    take_in(book, write_log(folder, "b.csv", "2026-06-03T10:00:00Z"))
    removed = take_in(book, write_log(folder, "c.csv", "2026-06-04T10:00:00Z"), "E2")
    with book.register.writing("the builder") as session:
        doubted = events.list_events(session, run_id=first, kind="over_rev")[0].event
        events.add_review(session, doubted.event_id, "harmless", "-12 km/h, on the rolls")
        corrections.remove_run(session, removed, "\tnot ours")
        corrections.add_unlogged(session, "E1", minutes=30.0, at=datetime(2026, 7, 1, tzinfo=UTC))
    layout = find_layout(motion_of([drive(CIRCUITS[0], 3, Logged(), np.random.default_rng(1)).run]))
    with book.register.writing("the builder") as session:
        corrections.amend_run(session, first, circuit="Old Quay")
        layouts.save_layout(session, first, layouts.layout_key(FINDER, "Old Quay"), layout)
        layouts.name_corner(session, "Old Quay", 2, "=Chapel")
        alterations.record_change(session, "E1", at=REFRESHED, sort="oil", what="+thicker oil")
    Image.new("RGB", (40, 30), "silver").save(folder / "shell.png")
    (folder / "findings.toml").write_text(FINDINGS, encoding="utf-8")
    record_teardown(book, "E1", folder / "findings.toml", at=REFRESHED, who="the builder")
    with book.register.writing("the builder") as session:
        builds.add_refresh(
            session,
            "E1",
            REFRESHED,
            "bearings",
            lines=[SheetLine("rod_bearing", "2", "replaced")],
            measurements=[
                BuiltMeasurement(Measurement("clearance", 0.05, "mm"), "rod_bearing", "2")
            ],
        )
    book.register.close()
    return open_logbook(book.root)
