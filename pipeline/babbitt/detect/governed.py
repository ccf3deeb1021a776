"""What each kind of harm is judged by: a change of anything else leaves its events as they are."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence

from babbitt.detect.judge import DETECTOR_VERSION
from babbitt.detect.pressure import PressureSurface
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.kinds import KINDS, Kind

_SUMMARISED = (
    "engine",
    "over_rev.redline_rpm",
    "over_rev.fatigue_exponent",
    "cornering",
    "oil_pressure.min_duration_s",
    "oil_temperature.min_duration_s",
    "coolant_temperature.min_duration_s",
    "coolant_temperature.cap_kpa",
    "coolant_temperature.glycol_percent",
    "boost.min_duration_s",
    "cold_load.min_duration_s",
)
"""What exposure, watched times and steady oil pressure depend on."""


def channels_of(kinds: Sequence[Kind]) -> tuple[str, ...]:
    """Return the channels that these kinds read."""
    return tuple(dict.fromkeys(name for kind in kinds for name in KINDS[kind].reads))


def summary_key(spec: EngineSpec) -> str:
    """Return the key of what a run's exposure and steady oil pressures are worked out by."""
    return _hash(f"{DETECTOR_VERSION}", _SUMMARISED, spec)


def judged_key(spec: EngineSpec, surface: PressureSurface | None) -> str:
    """Return the key of what the events of a run are found by: `kind=hash` for every kind.

    The version of the spec as a whole comes first, for it stands on the events. What else the
    events of a run depend on is appended.

    Args:
        spec: the limits.
        surface: expected oil pressure of the engine's build; None: not known yet.
    """
    expected = surface.key if surface else "floor"
    keys = [f"spec={spec.version()}"]
    for kind, about in KINDS.items():
        begins = f"{DETECTOR_VERSION}/{expected}" if about.learned else f"{DETECTOR_VERSION}"
        keys.append(f"{kind}={_hash(begins, about.governed_by, spec)}")
    return " ".join([*keys, "else="])


def stale_kinds(judged_by: str | None, key: str) -> tuple[Kind, ...]:
    """Return the kinds to search anew for.

    Args:
        judged_by: key of what the events were found by; None: never searched.
        key: of today.
    """
    if judged_by is None:
        return tuple(KINDS)
    before, now = _parts(judged_by), _parts(key)
    if before.get("else") != now["else"]:
        return tuple(KINDS)
    return tuple(kind for kind in KINDS if before.get(kind) != now[kind])


def _parts(key: str) -> dict[str, str]:
    return {name: value for name, _, value in (part.partition("=") for part in key.split(" "))}


def _hash(begins: str, limits: Sequence[str], spec: EngineSpec) -> str:
    chosen = {name: spec.value_at(name) for name in limits}
    text = f"{begins}/{json.dumps(chosen, sort_keys=True)}"
    return hashlib.sha256(text.encode()).hexdigest()[:8]
