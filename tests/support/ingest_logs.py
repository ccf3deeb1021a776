"""Logs as text, read with few words."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from typing import Any

import pytest

from babbitt.errors import LogRefusedError
from babbitt.ingest.preview import LogPreview, preview_log
from babbitt.ingest.read import Instructions, ReadSource, read_log
from babbitt.model.run import Run

MODIFIED = datetime(2026, 5, 16, 18, 30, tzinfo=UTC)


def source_of(log: str | bytes, modified_at: datetime = MODIFIED) -> ReadSource:
    data = log.encode() if isinstance(log, str) else log
    return ReadSource("run7.csv", data, hashlib.sha256(data).hexdigest(), modified_at)


def read(log: str | bytes, *, modified_at: datetime = MODIFIED, **given: Any) -> Run:
    return read_log(source_of(log, modified_at), Instructions("NB-01", **given))


def preview(log: str | bytes, **given: Any) -> LogPreview:
    return preview_log(source_of(log), Instructions(**given))


def refused(log: str | bytes, **given: Any) -> LogRefusedError:
    with pytest.raises(LogRefusedError) as caught:
        read(log, **given)
    return caught.value


def csv_of(headers: Sequence[str], rows: Iterable[Sequence[object]], delimiter: str = ",") -> str:
    lines = [headers, *([str(cell) for cell in row] for row in rows)]
    return "".join(delimiter.join(line) + "\n" for line in lines)


def ramp(count: int = 20, *, step_s: float = 0.1) -> list[tuple[str, int]]:
    """Rows of time and engine speed, in which every value is another."""
    return [(f"{i * step_s:.3f}", 2000 + 37 * i) for i in range(count)]
