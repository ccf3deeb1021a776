"""The record of the team as season.toml: engines, parts, teardowns and logs."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime

from demo_logs.circuits import CIRCUITS
from demo_logs.dialects import NUMBERED, PLAIN, SLOW_PRESSURE
from demo_logs.log import Log
from demo_logs.when import instant
from demo_logs.workshop import Batch, Build, Engine, Line, fitments, refresh_lines

Value = str | float | datetime | None


def season_toml(
    team: str, engines: Sequence[Engine], batches: Sequence[Batch], logs: Sequence[Log]
) -> str:
    """Return season.toml; what has no value is left out."""
    blocks = [
        f"# Two seasons of {team}, an invented team; made by demo_logs/make.py.\n",
        'logbook = "logbook.toml"\nhistory = "history.csv"\n',
        _array("part", _parts(batches)),
        _array("fitment", _fitments(batches, engines)),
        _array("work", _works(batches)),
    ]
    for engine in engines:
        blocks.append(_engine(engine))
        blocks += [
            _refresh(build, refresh_lines(batches, engine, number))
            for number, build in enumerate(engine.builds[1:], start=2)
        ]
    blocks += [_table("teardown", row) for row in _teardowns(engines)]
    blocks += [_log(log) for log in sorted(logs, key=lambda log: log.started)]
    return "\n".join(blocks)


def _engine(engine: Engine) -> str:
    first = engine.builds[0]
    return _table(
        "engine",
        {
            "id": engine.engine_id,
            "spec": f"specs/{engine.engine_id}.toml",
            "built_at": first.since,
        },
    ) + _array("measurements", _measurements(first))


def _refresh(build: Build, lines: Sequence[Line]) -> str:
    actions: list[dict[str, Value]] = [
        {
            "part": line.kind,
            "position": line.position or None,
            "action": line.action,
            "fitted": line.part_id or None,
        }
        for line in lines
    ]
    return (
        _table("engine.refresh", {"at": build.since, "note": build.note})
        + _array("lines", actions)
        + _array("measurements", _measurements(build))
    )


def _measurements(build: Build) -> Iterator[dict[str, Value]]:
    for measured in build.measured:
        for place, value in enumerate(measured.values, start=1):
            yield {
                "part": measured.kind or None,
                "name": measured.name,
                "position": str(place) if len(measured.values) > 1 else None,
                "value": value,
                "unit": measured.unit,
                "low": measured.low,
                "high": measured.high,
            }


def _parts(batches: Sequence[Batch]) -> Iterator[dict[str, Value]]:
    for batch in batches:
        for part_id, _ in batch.parts():
            yield {"id": part_id, "kind": batch.kind, "note": batch.note}


def _fitments(batches: Sequence[Batch], engines: Sequence[Engine]) -> Iterator[dict[str, Value]]:
    for fitment in fitments(batches, engines):
        yield {
            "part": fitment.part_id,
            "engine": fitment.engine_id,
            "position": fitment.position or None,
            "at": fitment.at,
            "removed_at": fitment.removed_at,
        }


def _works(batches: Sequence[Batch]) -> Iterator[dict[str, Value]]:
    works = [(batch.label, work) for batch in batches for work in batch.works]
    for label, work in sorted(works, key=lambda labelled: labelled[1].since):
        yield {
            "part": label,
            "where": work.where,
            "what": work.what,
            "since": work.since,
            "due": work.due,
            "back": work.back,
            "result": work.result or None,
        }


def _teardowns(engines: Sequence[Engine]) -> list[dict[str, Value]]:
    torn = [
        (build.teardown, engine.engine_id)
        for engine in engines
        for build in engine.builds
        if build.teardown
    ]
    return [
        {
            "engine": engine_id,
            "at": teardown.at,
            "note": teardown.note,
            "findings": teardown.findings(engine_id),
        }
        for teardown, engine_id in sorted(torn, key=lambda pair: pair[0].at)
    ]


def _log(log: Log) -> str:
    silent = log.dialect in {PLAIN, SLOW_PRESSURE}
    return _table(
        "log",
        {
            "file": f"logs/{log.name}.csv",
            "engine": log.engine_id,
            "circuit": _circuit(log),
            "started": log.started if silent else None,
            "profile": "numbered" if log.dialect == NUMBERED else None,
        },
    )


def _circuit(log: Log) -> str:
    there = log.session.circuit
    return there if there in CIRCUITS else "Rolling road"


def _table(name: str, row: dict[str, Value]) -> str:
    return f"[[{name}]]\n" + "".join(f"{pair}\n" for pair in _pairs(row))


def _array(name: str, rows: Iterable[dict[str, Value]]) -> str:
    """Return a list of tables, one a line; TOML reads it as it reads [[name]] tables."""
    return f"{name} = [\n" + "".join(f"  {{ {', '.join(_pairs(row))} }},\n" for row in rows) + "]\n"


def _pairs(row: dict[str, Value]) -> list[str]:
    return [f"{key} = {_value(value)}" for key, value in row.items() if value is not None]


def _value(value: Value) -> str:
    if isinstance(value, datetime):
        return instant(value)
    return json.dumps(value, ensure_ascii=False)
