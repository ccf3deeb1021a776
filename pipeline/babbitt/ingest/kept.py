"""How a log was read, in a form that can be kept, so that it can be read again, and better."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from babbitt.ingest.source import Instructions
from babbitt.logbook.settings import Profile, zone


def to_json(instructions: Instructions, modified_at: datetime) -> dict[str, Any]:
    """Return the instructions that a log was read with, and the date of its file.

    The engine and the circuit are left out, since a run may be given to others; so are the profiles
    that were not taken. What a profile says is kept rather than its name, since it may change.
    """
    profile, started = instructions.profile, instructions.started
    return {
        "profile": None if profile is None else profile.model_dump(exclude_defaults=True),
        "profile_name": instructions.profile_name,
        "columns": dict(instructions.columns),
        "units": dict(instructions.units),
        "started": None if started is None else started.isoformat(),
        "zone": str(instructions.zone),
        "offsets": dict(instructions.offsets),
        "left_out": sorted(instructions.left_out),
        "file_date": modified_at.isoformat(),
    }


def from_json(kept: Mapping[str, Any], engine_id: str) -> tuple[Instructions, datetime]:
    """Return the instructions and the file's date that `to_json` kept.

    Args:
        kept: by `to_json`.
        engine_id: the engine that the run is of today.
    """
    profile, started = kept["profile"], kept["started"]
    instructions = Instructions(
        engine_id=engine_id,
        profile=None if profile is None else Profile.model_validate(profile),
        profile_name=kept["profile_name"],
        columns=kept["columns"],
        units=kept["units"],
        started=None if started is None else datetime.fromisoformat(started),
        zone=zone(kept["zone"]),
        offsets=kept["offsets"],
        left_out=frozenset(kept["left_out"]),
    )
    return instructions, datetime.fromisoformat(kept["file_date"])
