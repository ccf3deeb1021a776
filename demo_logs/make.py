"""Make the demo logs, the season's plan and the known truth: ``python -m demo_logs.make [DIR]``."""

from __future__ import annotations

import json
import sys
import tomllib
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from demo_logs.dialects import NUMBERED, PLAIN, SLOW_PRESSURE, write
from demo_logs.logger import Recording, record
from demo_logs.plan import ENGINES, LOGS, TEAM, Log
from demo_logs.planting import plant
from demo_logs.session import CRANKING_S, STOPPING_S, Trace, make_trace
from demo_logs.truth import Clock, clock_of, exposure_truth, find_truth, with_cause

HERE = Path(__file__).parent
SEED = 2026


@dataclass(frozen=True)
class Session:
    """What happened in one session, and what its logger recorded of it."""

    trace: Trace
    clock: Clock
    recording: Recording


def play(log: Log) -> Session:
    """Play the session of a log; the same each time, whatever other logs there are."""
    random = np.random.default_rng([SEED, *log.name.encode()])
    trace = make_trace(log.session, 1.0 / log.rate_hz, random)
    plant(trace, (*log.planted, *log.lookalikes))
    clock = clock_of(trace, log.faults)
    recording = record(trace, log.rate_hz, clock, log.planted, log.faults, random)
    return Session(trace, clock, recording)


def make(target: Path) -> None:
    """Write logs/, season.toml and truth.json into `target`; the same bytes each time."""
    (target / "logs").mkdir(parents=True, exist_ok=True)
    truth = []
    for log in LOGS:
        session = play(log)
        data = write(log.dialect, session.recording, log.started, log.session.circuit)
        (target / "logs" / f"{log.name}.csv").write_bytes(data)
        truth.append(_truth_of(log, session.trace, session.clock))
    text = json.dumps({"team": f"{TEAM} (invented)", "logs": truth}, indent=1, ensure_ascii=False)
    (target / "truth.json").write_text(text + "\n", encoding="utf-8", newline="\n")
    (target / "season.toml").write_text(_season(), encoding="utf-8", newline="\n")


def _truth_of(log: Log, trace: Trace, clock: Clock) -> dict[str, Any]:
    decoys = sorted(_decoys(log, trace, clock), key=lambda decoy: decoy["start_s"])
    spec = tomllib.loads((HERE / "specs" / f"{log.engine_id}.toml").read_text(encoding="utf-8"))
    events = with_cause(find_truth(trace, spec, clock), log.planted, trace, clock)
    return {
        "file": f"logs/{log.name}.csv",
        "engine": log.engine_id,
        "started": _instant(log.started),
        "sample_s": trace.sample_s,
        "not_watched": list(log.not_watched),
        "exposure": exposure_truth(trace, clock),
        "events": [{**event, "clean": _is_clean(event, decoys)} for event in events],
        "decoys": decoys,
    }


def _is_clean(event: dict[str, Any], decoys: list[dict[str, Any]]) -> bool:
    """Whether the log shows the event whole: no fault in it, and an end."""
    return event["ended_by"] == "release" and not any(
        decoy["start_s"] <= event["end_s"] and event["start_s"] <= decoy["end_s"]
        for decoy in decoys
    )


def _decoys(log: Log, trace: Trace, clock: Clock) -> list[dict[str, Any]]:
    """Everything in the log that must not be taken for harm; times as the log shows them."""
    spans = [
        ("cranking", "", trace.fired_s - CRANKING_S, trace.fired_s),
        ("shutdown", "", trace.stopped_s, trace.stopped_s + STOPPING_S),
    ]
    for item in log.lookalikes:
        start, _, _, end = item.shape.knots(trace)
        spans.append((item.sort, item.shape.channel, start, end))
    spans += [(fault.sort, fault.channel, *fault.window(trace)) for fault in log.faults]
    return [
        {
            "sort": sort,
            "channel": channel or None,
            "start_s": round(clock.stamp(start), 3),
            "end_s": round(clock.stamp(end), 3),
        }
        for sort, channel, start, end in spans
    ]


def _season() -> str:
    """The season in the order in which it happened, as TOML."""
    parts = [f"# The season of {TEAM}, an invented team; made by demo_logs/make.py.\n"]
    parts.append('logbook = "logbook.toml"\n')
    for engine in ENGINES:
        parts.append(
            "\n[[engine]]\n"
            f'id = "{engine.engine_id}"\n'
            f'spec = "specs/{engine.engine_id}.toml"\n'
            f"built_at = {_instant(engine.built_at)}\n"
        )
        for at, note in engine.refreshes:
            parts.append(f'\n[[engine.refresh]]\nat = {_instant(at)}\nnote = "{note}"\n')
    for log in sorted(LOGS, key=lambda log: log.started):
        parts.append(f'\n[[log]]\nfile = "logs/{log.name}.csv"\nengine = "{log.engine_id}"\n')
        if log.dialect in {PLAIN, SLOW_PRESSURE}:
            parts.append(f"started = {_instant(log.started)}\n")
        if log.dialect == NUMBERED:
            parts.append('profile = "numbered"\n')
    return "".join(parts)


def _instant(when: datetime) -> str:
    return f"{when:%Y-%m-%dT%H:%M:%SZ}"


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
