"""What each kind of harm is judged by: a change of anything else leaves its events as they are."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass

from babbitt.detect.judge import DETECTOR_VERSION
from babbitt.detect.pressure import PressureSurface
from babbitt.model.engine_spec import KINDS, EngineSpec, Kind


@dataclass(frozen=True)
class Governed:
    """What a kind is judged by.

    Attributes:
        channels: that it reads.
        limits: sections of the spec that it reads, or single keys of them.
        surface: whether it reads the expected oil pressure.
    """

    channels: tuple[str, ...]
    limits: tuple[str, ...]
    surface: bool = False


_OIL = Governed(
    ("rpm", "oil_pressure", "oil_temperature", "lateral_g"),
    ("oil_pressure", "cornering", "engine.idle_rpm"),
    surface=True,
)
GOVERNED: dict[Kind, Governed] = {
    "over_rev": Governed(("rpm", "boost", "throttle"), ("over_rev",)),
    # One search finds both, and tells them apart.
    "oil_starvation": _OIL,
    "low_oil_pressure": _OIL,
    "coolant_overheat": Governed(
        ("rpm", "coolant_temperature"),
        (
            "coolant_temperature.limit_c",
            "coolant_temperature.min_duration_s",
            "engine.idle_rpm",
        ),
    ),
    "oil_overheat": Governed(
        ("rpm", "oil_temperature"),
        ("oil_temperature.limit_c", "oil_temperature.min_duration_s", "engine.idle_rpm"),
    ),
    "overboost": Governed(("rpm", "boost"), ("boost",)),
    "cold_load": Governed(
        ("rpm", "oil_temperature", "boost"),
        ("cold_load", "oil_temperature.warm_c", "engine.idle_rpm"),
    ),
}

_SUMMARISED = (
    "engine",
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
    return tuple(dict.fromkeys(name for kind in kinds for name in GOVERNED[kind].channels))


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
    for kind, by in GOVERNED.items():
        begins = f"{DETECTOR_VERSION}/{expected}" if by.surface else f"{DETECTOR_VERSION}"
        keys.append(f"{kind}={_hash(begins, by.limits, spec)}")
    return " ".join([*keys, "else="])


def stale_kinds(judged_by: str | None, key: str) -> tuple[Kind, ...]:
    """Return the kinds to search anew for.

    Args:
        judged_by: key of what the events were found by; None: never searched.
        key: of today.
    """
    if judged_by is None:
        return KINDS
    before, now = _parts(judged_by), _parts(key)
    if before.get("else") != now["else"]:
        return KINDS
    return tuple(kind for kind in KINDS if before.get(kind) != now[kind])


def _parts(key: str) -> dict[str, str]:
    return {name: value for name, _, value in (part.partition("=") for part in key.split(" "))}


def _hash(begins: str, limits: Sequence[str], spec: EngineSpec) -> str:
    values = spec.model_dump(mode="json")
    chosen = {}
    for name in limits:
        section, _, key = name.partition(".")
        chosen[name] = values[section][key] if key else values[section]
    text = f"{begins}/{json.dumps(chosen, sort_keys=True)}"
    return hashlib.sha256(text.encode()).hexdigest()[:8]
