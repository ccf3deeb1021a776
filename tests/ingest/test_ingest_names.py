"""Headers with their right answers (headers.toml): what is known, what asks, what is mistaken."""

from __future__ import annotations

import tomllib
from pathlib import Path

from babbitt.ingest.text.headers import read_header

ANSWERS: dict[str, list[str]] = tomllib.loads(
    (Path(__file__).parent / "headers.toml").read_text("utf-8")
)
LEAST_KNOWN = 0.98


def _read(header: str) -> str | None:
    meaning = read_header(header)
    return "absolute" if meaning.absolute else meaning.channel


def _known() -> list[tuple[str, str]]:
    return [
        (header, channel)
        for channel, headers in ANSWERS.items()
        if channel not in ("none", "asks")
        for header in headers
    ]


def test_at_least_300_headers_have_answers() -> None:
    assert len({header for headers in ANSWERS.values() for header in headers}) >= 300


def test_no_header_is_taken_for_what_it_is_not() -> None:
    mistaken = [(h, _read(h)) for h in (*ANSWERS["none"], *ANSWERS["asks"]) if _read(h)]
    mistaken += [(h, _read(h)) for h, channel in _known() if _read(h) not in (channel, None)]
    assert mistaken == []


def test_most_names_of_the_trade_are_known() -> None:
    asked = [(h, channel) for h, channel in _known() if _read(h) is None]
    assert 1.0 - len(asked) / len(_known()) >= LEAST_KNOWN, asked
