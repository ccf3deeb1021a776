"""Instants, in code and as written in files."""

from __future__ import annotations

from datetime import UTC, datetime


def utc(year: int, month: int, day: int, hour: int, minute: int = 0, second: int = 0) -> datetime:
    """Return an instant in UTC."""
    return datetime(year, month, day, hour, minute, second, tzinfo=UTC)


def instant(when: datetime) -> str:
    """Return the instant as TOML and JSON files show it."""
    return f"{when:%Y-%m-%dT%H:%M:%SZ}"
