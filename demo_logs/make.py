"""Make the demo logs, photos, record and known truth: ``python -m demo_logs.make [DIR]``."""

from __future__ import annotations

import json
import sys
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from demo_logs.builds import ENGINES
from demo_logs.dialects import write
from demo_logs.log import Log
from demo_logs.logger import Recording, record
from demo_logs.parts import BATCHES
from demo_logs.photos import PHOTOS, as_jpeg
from demo_logs.plan import LOGS, TEAM
from demo_logs.planting import plant
from demo_logs.season import season_toml
from demo_logs.session import CRANKING_S, STOPPING_S, Trace, make_trace
from demo_logs.truth import Clock, clock_of, exposure_truth, find_truth, with_cause
from demo_logs.when import instant

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
    """Write logs, photos, season.toml and truth.json into `target`; the same bytes each time."""
    for folder in ("logs", "findings/photos"):
        (target / folder).mkdir(parents=True, exist_ok=True)
    truth = []
    for log in LOGS:
        session = play(log)
        data = write(log.dialect, session.recording, log.started, log.session.circuit)
        (target / "logs" / f"{log.name}.csv").write_bytes(data)
        truth.append(_truth_of(log, session.trace, session.clock))
    for name, draw in PHOTOS.items():
        (target / "findings" / "photos" / f"{name}.jpg").write_bytes(as_jpeg(draw()))
    known = {"team": f"{TEAM} (invented)", "logs": truth, "teardowns": _teardown_truth()}
    text = json.dumps(known, indent=1, ensure_ascii=False)
    (target / "truth.json").write_text(text + "\n", encoding="utf-8", newline="\n")
    season = season_toml(TEAM, ENGINES, BATCHES, LOGS)
    (target / "season.toml").write_text(season, encoding="utf-8", newline="\n")


def _truth_of(log: Log, trace: Trace, clock: Clock) -> dict[str, Any]:
    decoys = sorted(_decoys(log, trace, clock), key=lambda decoy: decoy["start_s"])
    spec = tomllib.loads((HERE / "specs" / f"{log.engine_id}.toml").read_text(encoding="utf-8"))
    events = with_cause(find_truth(trace, spec, clock), log.planted, trace, clock)
    return {
        "file": f"logs/{log.name}.csv",
        "engine": log.engine_id,
        "started": instant(log.started),
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


def _teardown_truth() -> list[dict[str, Any]]:
    """What truly made every finding that is one, teardown by teardown."""
    return [
        {
            "findings": build.teardown.findings(engine.engine_id),
            "engine": engine.engine_id,
            "at": instant(build.teardown.at),
            "causes": [
                {"part": part, "position": position or None, "cause": cause}
                for (part, position), cause in build.teardown.causes.items()
            ],
        }
        for engine in ENGINES
        for build in engine.builds
        if build.teardown
    ]


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
