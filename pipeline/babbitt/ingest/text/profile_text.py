"""A logger profile as it stands in logbook.toml."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator

from babbitt.ingest.preview import ColumnView, LogPreview
from babbitt.logbook.settings import TIME, Profile


def profile_text(name: str, profile: Profile, found: LogPreview | None = None) -> str:
    """Return the `[profile.NAME]` of a profile.

    Args:
        name: of the profile.
        profile: what it says.
        found: a previewed log; what only a person can say of it stands there as a comment.
    """
    key = name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _quoted(name)
    columns = () if found is None else found.columns
    named = [f"{_quoted(header)} = {_quoted(to)}" for header, to in profile.columns.items()]
    named += [f'# {_quoted(c.header)} = ""' for c in columns if _is_nameless(c)]
    units = [f"{channel} = {_quoted(unit)}" for channel, unit in profile.units.items()]
    units += [_unit_hint(c) for c in columns if c.known and not c.unit_basis and c.name != TIME]
    lines = [f"[profile.{key}]", *_own_lines(profile, hints=found is not None)]
    lines += ["", f"[profile.{key}.columns]", *named] if named else []
    lines += ["", f"[profile.{key}.units]", *units] if units else []
    return "\n".join(lines) + "\n"


def _own_lines(profile: Profile, *, hints: bool) -> Iterator[str]:
    if profile.fingerprint is not None:
        yield f"fingerprint = {_quoted(profile.fingerprint)}  # of the kind of file it is taken for"
    if profile.lateral_positive is not None:
        yield f"lateral_positive = {_quoted(profile.lateral_positive)}"
    elif hints:
        yield '# lateral_positive = "left"  # or "right": the corner in which lateral g is positive'
    if profile.ambient_kpa is not None:
        yield f"ambient_kpa = {profile.ambient_kpa!r}"
    if profile.timezone is not None:
        yield f"timezone = {_quoted(profile.timezone)}"
    elif hints:
        yield "# timezone = \"Europe/Paris\"  # of the logger's clock, if not the logbook's"
    if profile.dates is not None:
        yield f"dates = {_quoted(profile.dates)}"
    elif hints:
        yield '# dates = "day-first"  # or "month-first", "year-first"'


def _is_nameless(column: ColumnView) -> bool:
    return bool(column.header) and not column.known and column.low is not None


def _unit_hint(column: ColumnView) -> str:
    likeliest, *others = column.plausible or ("",)
    or_else = f"  # or {', '.join(others)}" if others else ""
    return f"# {column.name} = {_quoted(likeliest)}{or_else}"


def _quoted(text: str) -> str:
    """Return a TOML basic string: written as a JSON string is, but without a bare delete."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
