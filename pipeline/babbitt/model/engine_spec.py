"""The engine spec: geometry and limits that judge an engine, read from TOML."""

from __future__ import annotations

import difflib
import hashlib
import json
from collections.abc import Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Self

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    create_model,
    model_validator,
)

from babbitt.errors import SettingsError, tell_faults
from babbitt.model.bounds import (
    MOST_TOTAL,
    Acceleration,
    Celsius,
    Exponent,
    Kilopascals,
    Millimetres,
    Rpm,
    Seconds,
    Total,
)
from babbitt.model.engine_layout import MOST_CYLINDERS, EngineLayout, LayoutName
from babbitt.model.kinds import KINDS, Kind
from babbitt.model.toml_text import read_toml, shown


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, defer_build=True)


class EngineSection(_Section):
    """Geometry; engines of one `type` are a fleet."""

    type: str = Field(min_length=1)
    layout: LayoutName = "inline"
    cylinders: int = Field(gt=0, le=MOST_CYLINDERS)
    bore_mm: Millimetres
    stroke_mm: Millimetres
    rod_length_mm: Millimetres
    idle_rpm: Rpm

    @property
    def arrangement(self) -> EngineLayout:
        """How its cylinders stand."""
        return EngineLayout(self.layout, self.cylinders)

    @model_validator(mode="after")
    def _can_be_built(self) -> Self:
        self.arrangement  # noqa: B018 - refuses what no engine is
        if self.rod_length_mm <= self.stroke_mm / 2:
            raise ValueError("rod_length_mm must be more than half of stroke_mm")
        return self


class OverRevSection(_Section):
    """Limits of over_rev; see detect/over_rev.py for how `driven` is told from `on_power`."""

    redline_rpm: Rpm
    mechanical_rpm: Rpm
    fatigue_exponent: Exponent = 5.0  # m of Basquin's law; design's default
    free_rev_rpm_per_s: Total = 6000.0  # common practice, no source

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.mechanical_rpm < self.redline_rpm:
            raise ValueError("mechanical_rpm must not lie below redline_rpm")
        return self


class OilPressureSection(_Section):
    """The floor line, the relief valve, and the shares of expected pressure that are too little.

    Up to floor_above_rpm, from idle up, that is lost_fraction; above, starved_fraction. A start
    without as much for longer than dry_start_s is a dry one. With crankpin_mm, the diameter of the
    pins, a dose counts the pressure that is left at them.
    """

    floor_kpa_per_1000rpm: Rpm = 69.0  # common practice, no source: 10 psi per 1000 rpm
    floor_above_rpm: float = Field(default=2500.0, ge=0.0, le=50_000.0)
    relief_kpa: Kilopascals = 550.0
    starved_fraction: float = Field(default=0.75, gt=0.0, lt=1.0)
    lost_fraction: float = Field(default=0.5, gt=0.0, lt=1.0)  # common practice, no source
    min_duration_s: Seconds = 0.2
    dry_start_s: Seconds = 2.0  # common practice, no source
    crankpin_mm: Millimetres | None = None


class CorneringSection(_Section):
    """What counts as cornering, and how long the pressure may follow it."""

    lateral_g: Acceleration = 0.6
    lookback_s: Seconds = 1.5


class OilTemperatureSection(_Section):
    """Limits of oil_overheat, and when oil counts as warm."""

    limit_c: Celsius
    min_duration_s: Seconds = 2.0
    warm_c: Celsius = 70.0

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.warm_c >= self.limit_c:
            raise ValueError("warm_c must lie below limit_c")
        return self


class OilSection(_Section):
    """Kinematic viscosity of the oil, as its data sheet has it; of an SAE 50 where nobody says."""

    viscosity_40c_mm2_s: float = Field(default=150.0, gt=2.0, le=2_000.0)  # from memory
    viscosity_100c_mm2_s: float = Field(default=18.5, gt=2.0, le=100.0)  # SAE J300: 16.3 to 21.9

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.viscosity_100c_mm2_s >= self.viscosity_40c_mm2_s:
            raise ValueError("viscosity_100c_mm2_s must lie below viscosity_40c_mm2_s")
        return self


class CoolantTemperatureSection(_Section):
    """Limit of coolant_overheat; cap and glycol set the boiling point."""

    limit_c: Celsius
    min_duration_s: Seconds = 2.0
    cap_kpa: float = Field(default=110.0, ge=0.0, le=1_000.0)
    glycol_percent: float = Field(default=0.0, ge=0.0, le=70.0)


class BoostSection(_Section):
    """Limit of overboost, kPa gauge."""

    limit_kpa: Kilopascals
    min_duration_s: Seconds = 0.2


class ColdLoadSection(_Section):
    """What counts as load while the oil is cold."""

    rpm: Rpm = 5000.0
    boost_kpa: Kilopascals = 80.0
    min_duration_s: Seconds = 0.5


HALF_OF_ONE_IN_TEN = 3.0
"""Half dose over 10 % dose where the spec states one number (common practice, no source)."""


class LifeDoses(_Section):
    """Doses since refresh at which one engine in ten, and half of them, need a part replaced.

    A single number is the 10 % dose; the half dose is then HALF_OF_ONE_IN_TEN times as much.
    """

    one_in_ten: Total
    half: Total

    @model_validator(mode="before")
    @classmethod
    def _of_one_number(cls, given: Any) -> Any:
        stated = given if isinstance(given, Mapping) else {"one_in_ten": given}
        if "half" in stated:
            return stated
        one_in_ten: Any = stated.get("one_in_ten")
        usable = isinstance(one_in_ten, int | float) and 0 < one_in_ten < MOST_TOTAL
        return {**stated, "half": HALF_OF_ONE_IN_TEN * (one_in_ten if usable else 1.0)}

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.half <= self.one_in_ten:
            raise ValueError("half must lie above one_in_ten: fewer engines stand the larger dose")
        return self


class _Life(_Section):
    """What doses an engine stands, a kind each; None: not stated."""

    def of(self, kind: Kind) -> float | None:
        """The 10 % dose of `kind`, in the unit of its dose."""
        doses = self.doses(kind)
        return None if doses is None else doses.one_in_ten

    def doses(self, kind: Kind) -> LifeDoses | None:
        """The 10 % dose and the half dose of `kind`, or of the kind that is like it."""
        found: LifeDoses | None = getattr(self, kind, None)
        like = KINDS[kind].like
        return self.doses(like) if found is None and like else found


if TYPE_CHECKING:

    class LifeSection(_Life):
        """Life doses; a field for each of KINDS."""

        def __init__(self, **doses: float | Mapping[str, float] | None) -> None: ...

else:
    LifeSection = create_model(
        "LifeSection",
        __base__=_Life,
        __doc__=_Life.__doc__,
        **dict.fromkeys(KINDS, (LifeDoses | None, None)),
    )


class DecisionSection(_Section):
    """How much risk is accepted: a chance, or the two costs it follows from."""

    accepted_risk: float = Field(default=0.10, gt=0.0, lt=1.0)
    cost_refresh: Total | None = None
    cost_failure: Total | None = None

    @model_validator(mode="after")
    def _both_costs(self) -> Self:
        if (self.cost_refresh is None) != (self.cost_failure is None):
            raise ValueError("cost_refresh and cost_failure go together")
        return self


class EngineSpec(_Section):
    """One engine's geometry and limits; sections with defaults may be left out."""

    engine: EngineSection
    over_rev: OverRevSection
    oil_pressure: OilPressureSection = OilPressureSection()
    cornering: CorneringSection = CorneringSection()
    oil_temperature: OilTemperatureSection
    oil: OilSection = OilSection()
    coolant_temperature: CoolantTemperatureSection
    boost: BoostSection
    cold_load: ColdLoadSection = ColdLoadSection()
    life: LifeSection = LifeSection()
    decision: DecisionSection = DecisionSection()

    def value_at(self, key: str) -> Any:
        """Section `key`, or the value of a ``section.key``, as JSON has it."""
        section, _, name = key.partition(".")
        found = self.model_dump(mode="json")[section]
        return found[name] if name else found

    def version(self) -> str:
        """Hash of everything that decides which events are found; 12 hex digits.

        Life and decision judge totals, not runs, and the layout only names parts, so a change of
        them leaves the version alone.
        """
        judged_by = self.model_dump(
            mode="json", exclude={"life": True, "decision": True, "engine": {"layout"}}
        )
        text = json.dumps(judged_by, sort_keys=True)
        return hashlib.sha256(text.encode()).hexdigest()[:12]


def parse_spec(text: str, *, source: str) -> EngineSpec:
    """Read an engine spec from TOML.

    Args:
        text: the TOML.
        source: file name to quote in errors.

    Raises:
        SettingsError: names every fault at once: bad TOML, missing, unknown or unusable keys.
    """
    try:
        return EngineSpec.model_validate(read_toml(text))
    except ValidationError as error:
        raise SettingsError(f"{source}: {tell_faults(error.errors(), _sentence)}") from error
    except ValueError as error:
        raise SettingsError(f"{source} is not TOML: {error}.") from error


@lru_cache(maxsize=256)
def kept_spec(engine_id: str, toml: str) -> EngineSpec:
    """Read the spec that is kept of an engine; many records are held against the same one.

    Raises:
        SettingsError: an older program took what this one cannot use.
    """
    return parse_spec(toml, source=f"the spec of engine {engine_id}")


def _sentence(fault: Any) -> str:
    path = ".".join(str(part) for part in fault["loc"])
    match fault["type"]:
        case "extra_forbidden":
            return f"unknown key {shown(path)}{_nearest(fault['loc'])}"
        case "missing":
            return f"{path!r} is missing"
        case "value_error":
            return f"in [{path}] {fault['ctx']['error']}"
        case _:
            message = fault["msg"][0].lower() + fault["msg"][1:]
            return f"{path!r} is {shown(fault['input'])}: {message}"


def _nearest(path: tuple[str | int, ...]) -> str:
    """Name the known key nearest to an unknown one, looked for in its section, then everywhere."""
    *above, key = [str(part) for part in path]
    sections = {name: list(schema["properties"]) for name, schema in _sections().items()}
    nearby = sections[above[0]] if above else list(sections)
    if len(above) > 1:
        nearby = list(LifeDoses.model_fields)
    everywhere = [f"{name}.{known}" for name, keys in sections.items() for known in keys]
    close = difflib.get_close_matches(key, nearby, n=1, cutoff=0.5)
    if close:
        return f" (did you mean {'.'.join([*above, close[0]])!r}?)"
    away = [full for full in everywhere if full.rsplit(".", 1)[1] == key]
    away = away or difflib.get_close_matches(key, everywhere, n=1, cutoff=0.4)
    return f" (did you mean {away[0]!r}?)" if away else f" (known here: {', '.join(nearby)})"


def _sections() -> dict[str, Any]:
    """The sections of a spec by name, as JSON Schema."""
    schema = EngineSpec.model_json_schema()
    return {
        name: schema["$defs"][part["$ref"].rsplit("/", 1)[1]]
        for name, part in schema["properties"].items()
    }
