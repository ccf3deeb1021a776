"""A spec to fill in: every section and key with what it means, of no engine or as of one."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from babbitt.model.engine_spec import EngineSpec
from babbitt.model.kinds import KINDS

_MEANS: Mapping[str, str] = {
    "engine.type": "engines of one type are compared with one another",
    "engine.layout": "inline, v, flat or w",
    "engine.valves_per_cylinder": "how many",
    "engine.cylinders": "how many",
    "engine.bore_mm": "mm",
    "engine.stroke_mm": "mm",
    "engine.rod_length_mm": "mm, from centre to centre",
    "engine.idle_rpm": "1/min, warm",
    "over_rev.redline_rpm": "1/min; above it turns begin to count",
    "over_rev.mechanical_rpm": "1/min; above it parts bend or touch",
    "over_rev.fatigue_exponent": "of Basquin's law",
    "over_rev.free_rev_rpm_per_s": "1/min a second; faster is a downshift or no load",
    "oil_pressure.floor_kpa_per_1000rpm": "kPa a 1,000 1/min; 69 is 10 psi",
    "oil_pressure.floor_above_rpm": "1/min; the floor line begins there",
    "oil_pressure.relief_kpa": "kPa at which the relief valve opens",
    "oil_pressure.starved_fraction": "share of the expected pressure below which oil is short",
    "oil_pressure.crankpin_mm": "mm, diameter",
    "cornering.lateral_g": "g; more is a corner",
    "cornering.lookback_s": "s that pressure may fall behind the corner",
    "oil_temperature.limit_c": "°C",
    "oil_temperature.warm_c": "°C; colder oil should see no load",
    "coolant_temperature.limit_c": "°C",
    "coolant_temperature.cap_kpa": "kPa above ambient at which the cap opens",
    "coolant_temperature.glycol_percent": "% of the coolant",
    "boost.limit_kpa": "kPa above ambient",
    "cold_load.rpm": "1/min; more is load",
    "cold_load.boost_kpa": "kPa above ambient; more is load",
    "decision.accepted_risk": "chance of damage at the next outing that you accept",
    "decision.cost_refresh": "money; with cost_failure in place of accepted_risk",
    "decision.cost_failure": "money",
}


def spec_template(like: EngineSpec | None = None) -> str:
    """A commented spec as TOML.

    Args:
        like: an engine whose values are filled in; without one, what every engine has to state
            stands open, behind a #, and defaults are filled in.
    """
    lines = ["# What judges an engine. Lines that begin with # are open: fill in what you know."]
    if like is None:
        lines[0] += "\n# A line marked 'needed' has to be filled in."
    for section, field in EngineSpec.model_fields.items():
        values = None if like is None else getattr(like, section)
        if section == "life":
            lines += _life(values)
            continue
        kind = field.annotation
        if not (isinstance(kind, type) and issubclass(kind, BaseModel)):
            continue
        lines += ["", f"[{section}]"]
        for key, about in kind.model_fields.items():
            value = _default(about) if values is None else getattr(values, key)
            lines.append(_line(f"{section}.{key}", value, needed=about.is_required()))
    return "\n".join(lines) + "\n"


def _default(about: FieldInfo) -> Any:
    return None if about.is_required() else about.get_default(call_default_factory=True)


def _line(path: str, value: Any, *, needed: bool) -> str:
    means = _MEANS.get(path, "s that it has to last" if path.endswith(".min_duration_s") else "")
    key = path.partition(".")[2]
    said = "; ".join(part for part in ("needed" if needed and value is None else "", means) if part)
    comment = f"  # {said}" if said else ""
    # A JSON number or string is one of TOML.
    line = f"# {key} =" if value is None else f"{key} = {json.dumps(value, ensure_ascii=False)}"
    return line + comment


def _life(values: Any) -> list[str]:
    lines = ["", "[life]  # dose since refresh at which one engine in ten needs a part replaced"]
    for kind, about in KINDS.items():
        doses = None if values is None else values.doses(kind)
        comment = f"  # {about.title}, {about.dose_unit}"
        if doses is None:
            lines.append(f"# {kind} ={comment}")
        else:
            lines.append(
                f"{kind} = {{ one_in_ten = {doses.one_in_ten!r}, half = {doses.half!r} }}{comment}"
            )
    return lines
