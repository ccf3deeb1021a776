"""Entries of the journal in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Any

from babbitt.model.damage_modes import parts
from babbitt.model.records import Change, JournalEntry

Instant = Callable[[datetime], str]

_MOST = 3
"""So many changes of one act are told; of the others only their number."""

_INSTANTS = frozenset({"at", "since", "until", "due", "back_at", "built_at", "started_at"})
_WITHDRAWN = ("withdrawn_at", "removed_at")

_NAMES = {
    "engine": "engine {engine_id}",
    "engine_spec": "the limits of {engine_id}",
    "refresh": "the refresh of {engine_id} on {at}",
    "run": "the {run} {run_id} of {engine_id}",
    "review": "the review of event {event_id}",
    "part": "the {kind} {part_id}",
    "fitment": "the fitment of {part_id} in {engine_id}{spot}",
    "work": "the work on {part_id} at {shop}",
    "history": "the history of {subject} before the logs",
    "sheet_line": "the line on the {part}{place} on the build sheet of {engine_id}",
    "built_measurement": "the {name}{of_part} on the build sheet of {engine_id}",
    "teardown": "the teardown of {engine_id} on {at}",
    "finding": "the finding {damage_mode}, grade {grade}, on the {part}{place}",
    "corner_name": "the name of corner {number} of {circuit}",
    "change": "the change of the {sort} of {engine_id} ({what})",
}
_CREATED = {
    "engine_spec": "set the limits of {engine_id}",
    "review": "reviewed event {event_id} as {verdict}",
    "fitment": "fitted {part_id} to {engine_id}{spot}",
    "work": "sent {part_id} to {shop}",
    "corner_name": "called corner {number} of {circuit} {name}",
}
_BECAME = {
    ("refresh", "at"): "moved the refresh of {engine_id} from {was} to {became}",
    ("run", "engine_id"): "gave the {run} {run_id} of {was} to {became}",
    ("run", "circuit"): "moved the {run} {run_id} of {engine_id} from {was} to {became}",
    ("run", "started_at"): "moved the {run} {run_id} of {engine_id} from {was} to {became}",
    ("run", "read_as"): "read the log of the run {run_id} of {engine_id} again ({became})",
    ("run", "trusted"): "called the sensors of the run {run_id} of {engine_id} {became}",
    ("teardown", "at"): "moved the teardown of {engine_id} from {was} to {became}",
}
_CAME = {
    ("run", "circuit"): "said that the {run} {run_id} of {engine_id} was at {became}",
    ("fitment", "until"): "removed {part_id} from {engine_id}{spot}, on {became}",
    ("work", "back_at"): "took {part_id} back from {shop} on {became}",
}
"""What is said where a column was empty before."""


def shown(at: datetime) -> str:
    """Return an instant for a sentence."""
    return f"{at.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"


def sentence(entry: JournalEntry, instant: Instant = shown) -> str:
    """Return what an entry did, in the past tense, without a subject or an end mark.

    Args:
        entry: of the journal.
        instant: writes an instant as the reader wants it.
    """
    clauses = [_clause(change, instant) for change in entry.changes[:_MOST]]
    if len(entry.changes) > _MOST:
        clauses.append(f"and {len(entry.changes) - _MOST} changes more")
    text = ", ".join(clauses) or entry.action
    return text if entry.undoes is None else f"took back no. {entry.undoes}: {text}"


def describe(record: str, about: Mapping[str, Any], instant: Instant = shown) -> str:
    """Return what a record is called in a sentence.

    Args:
        record: its table.
        about: what tells it from others, as the journal writes it.
        instant: writes an instant as the reader wants it.
    """
    return _NAMES[record].format(**_words(about, instant))


def _clause(change: Change, instant: Instant) -> str:
    name = describe(change.record, change.about, instant)
    if change.after is None:
        return f"took {name} in anew"
    about = _words(change.about, instant)
    if change.before is None:
        created = _CREATED.get(change.record)
        return (
            created.format(**about | _words(change.after, instant)) if created else f"added {name}"
        )
    for column in _WITHDRAWN:
        if column in change.after:
            return f"withdrew {name}" if change.after[column] else f"brought back {name}"
    was, became = _values(change.before, instant), _values(change.after, instant)
    column, text = _told_apart(change.record, change.before)
    if text:
        return text.format(**about, was=was[column], became=became[column])
    columns = (f"{name.replace('_', ' ')} from {was[name]} to {became[name]}" for name in became)
    return f"changed {name}: {', '.join(columns)}"


def _told_apart(record: str, before: Mapping[str, Any]) -> tuple[str, str]:
    """Return the column that a change is about, and its words; both "" where there are none."""
    for column, value in before.items():
        if value is None and (record, column) in _CAME:
            return column, _CAME[record, column]
        if (len(before) == 1 or column == "read_as") and (record, column) in _BECAME:
            return column, _BECAME[record, column]
    return "", ""


def _words(about: Mapping[str, Any], instant: Instant) -> dict[str, str]:
    words = _values(about, instant)
    position = about.get("position")
    for column in ("part", "kind"):
        if about.get(column) in parts():
            words[column] = parts()[about[column]].title
    words["place"] = f" {position}" if position else ""
    words["spot"] = f", position {position}" if position else ""
    words["of_part"] = (f" of the {words['part']}" if about.get("part") else "") + words["place"]
    words["run"] = "unlogged running" if about.get("unlogged") else "run"
    words["subject"] = about.get("part_id") or about.get("engine_id") or ""
    if "damage_mode" in about and about["damage_mode"] is None:
        words["damage_mode"] = "sound"
    return words


def _values(values: Mapping[str, Any], instant: Instant) -> dict[str, str]:
    return {column: _value(column, value, instant) for column, value in values.items()}


def _value(column: str, value: Any, instant: Instant) -> str:
    if value is None:
        return "none"
    if column == "read_as":
        return _reading(value, instant)
    if column == "trusted":
        return "sound" if value else "doubtful"
    if column in _INSTANTS:
        return instant(datetime.fromisoformat(value))
    if isinstance(value, str):
        return value or "nothing"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _reading(read_as: Mapping[str, Any], instant: Instant) -> str:
    """Return what was stated about a log when it was read."""
    profile = read_as["profile"] or {}
    said = [f"{name} in {unit}" for name, unit in read_as["units"].items()]
    said += [f"{header} as {name}" for header, name in read_as["columns"].items()]
    said += [f"{offset:.4g} off {name}" for name, offset in read_as["offsets"].items()]
    said += [f"without {name}" for name in read_as["left_out"]]
    if profile.get("lateral_positive"):
        said.append(f"lateral_g positive to the {profile['lateral_positive']}")
    if read_as["profile_name"]:
        said.append(f"by the profile {read_as['profile_name']}")
    if read_as["started"]:
        said.append(f"begun {instant(datetime.fromisoformat(read_as['started']))}")
    return ", ".join(said) or "as the log says"
