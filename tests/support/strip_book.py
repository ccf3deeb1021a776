"""The logbook of engine_book with E1 taken apart: a starved bearing, and wear that no log explains.

Everything in it is invented.
"""

from __future__ import annotations

import io
from datetime import timedelta
from pathlib import Path

import numpy as np
from PIL import Image

from babbitt.jobs.record_teardown import aside_in, record_findings, set_photo_aside
from babbitt.logbook.folder import Logbook
from babbitt.model.finding import Finding, Measurement
from babbitt.model.run import Run, RunInfo, Signal
from babbitt.register.records import runs
from engine_book import NOW, make_engine_book
from run_files import write_run

APART = NOW - timedelta(days=1)
CLEARANCE = Measurement("clearance", 0.071, "mm", 0.045, 0.065)


def make_strip_book(folder: Path, register: str = "") -> Logbook:
    """Make the logbook of this module; its register lies in it, or at an address."""
    book = make_engine_book(folder, register)
    with book.register.reading() as session:
        recorded = runs.list_runs(session)
    for each in recorded:
        info = RunInfo(
            *(each.run_id, each.engine_id, each.started_at, "log", each.source_name),
            *(each.source_sha256, (), (), (), 20),
        )
        rpm = Signal(np.full(2, 6000, np.float32), np.ones(2, np.uint8), "1/min", 0.1, "RPM")
        path = book.root / book.run_name(each.engine_id, each.run_id)
        path.parent.mkdir(parents=True, exist_ok=True)
        write_run(Run(info, np.array([0.0, 3600.0]), {"rpm": rpm}), path)
    photo, _ = set_photo_aside(book, jpeg(), name="shell.jpg")
    record_findings(
        book,
        "E1",
        [
            found("rod_bearing", "2", "wiped", 3, measurement=CLEARANCE, photos=(photo,)),
            *(found("rod_bearing", position) for position in ("1", "3", "4")),
            found("valve_retainer", "4", "face_rubbed", 2, note="a bright crescent"),
            found("head_gasket", None, "leaking", 1),
        ],
        photos_in=aside_in(book),
        at=APART,
        note="all apart",
        who="Ann",
    )
    return book


def found(
    part: str,
    position: str | None,
    mode: str | None = None,
    grade: int = 0,
    *,
    measurement: Measurement | None = None,
    note: str = "",
    photos: tuple[str, ...] = (),
) -> Finding:
    """A finding; of grade 3 and more the part is replaced."""
    disposition = "replace" if grade >= 3 else "reuse"
    return Finding(part, position, mode, grade, measurement, disposition, note, photos)


def jpeg(colour: str = "red") -> bytes:
    """A small photo."""
    file = io.BytesIO()
    Image.new("RGB", (40, 30), colour).save(file, "JPEG")
    return file.getvalue()
