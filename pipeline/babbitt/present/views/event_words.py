"""What happened, in the words of the one who has to judge it."""

from __future__ import annotations

from collections.abc import Mapping

from babbitt.model.channels import channels
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.event import Confidence, Event, Reason, ReasonCode
from babbitt.model.kinds import KINDS, Kind
from babbitt.model.plain_text import capital
from babbitt.present.words import NOTHING, Reader, duration, number


def event_title(event: Event) -> str:
    """Return what sort of event it is: kind, cause, side and number of the corner."""
    parts = [
        KINDS[event.kind].title,
        cause_words(event),
        direction_words(event),
        "" if event.corner is None else f"corner {event.corner}",
    ]
    return ", ".join(part for part in parts if part)


def cause_words(event: Event) -> str:
    """Return what brought an event about, in a word or two; "" where nothing tells."""
    if event.cause == "unknown":
        return "cause unknown"
    return event.cause.replace("_", " ") if event.cause else ""


def direction_words(event: Event) -> str:
    """Return what the oil ran away from, in a word; "" where nothing tells."""
    return f"{event.side}-hander" if event.side else event.direction or ""


def event_sentence(
    event: Event, spec: EngineSpec, reader: Reader, at_worst: Mapping[str, float]
) -> str:
    """Say what happened in an event.

    Args:
        event: the event.
        spec: of the engine.
        reader: who reads.
        at_worst: what the channels read at its worst instant, in canonical units; may be empty.
    """
    return _SENTENCES.get(event.kind, _any)(event, spec, reader, at_worst)


def event_doubts(event: Event, spec: EngineSpec) -> tuple[str, ...]:
    """Return what speaks against taking an event as it stands, a sentence each."""
    doubts = []
    if event.confidence.reasons:
        doubts.append(f"Unsure: {reasons_in_words(event.confidence)}.")
    if event.ended_by == "gap":
        doubts.append("A gap in the log cuts it off: it may have lasted longer.")
    if event.ended_by == "end_of_run":
        doubts.append("The log ends in it: it may have lasted longer.")
    if event.spec_version != spec.version():
        doubts.append("It was found under other limits than today's: run `babbitt detect`.")
    return tuple(doubts)


def reasons_in_words(confidence: Confidence) -> str:
    """What speaks against an event, as a clause; "" where nothing does."""
    return "; ".join(map(_reason, confidence.reasons))


_REASONS: dict[ReasonCode, str] = {
    "pressure_not_learned": "expected pressure not learned yet",
    "no_oil_temperature": "no oil temperature",
    "no_lateral_g": "no lateral acceleration",
    "perhaps_unplugged": "the sensor may have been unplugged",
    "rise_not_logged": "the log does not show how engine speed rose",
    "lift_not_logged": "neither boost nor throttle tells it from driven",
    "unit": "{} may be in another unit",
    "exchanged": "{} may be exchanged",
    "absolute": "{} may be absolute",
    "gauge": "{} may be a gauge pressure",
    "frozen": "{} does not follow engine speed",
    "as_written": "{said}",
}


def _reason(reason: Reason) -> str:
    names = " and ".join(channels()[name].title for name in reason.channels)
    return _REASONS[reason.code].format(names, said=reason.said)


def _value(reader: Reader, value: float, unit: str) -> str:
    """Return a value with its unit; engine speed as it is spoken."""
    said, symbol = reader.value(value, unit)
    return f"{said} {'rpm' if symbol == '1/min' else symbol}"


def _above(reader: Reader, value: float, limit: float, unit: str) -> str:
    """Return by how much a value lies above a limit; a temperature as a difference."""
    shown = reader.unit(unit)
    factor = shown.from_canonical()[0] if shown else 1.0
    symbol = shown.symbol if shown else unit
    return f"{number((value - limit) * factor)}{'' if symbol == '1/min' else f' {symbol}'}"


def _pressure(event: Event, spec: EngineSpec, reader: Reader, at_worst: Mapping[str, float]) -> str:
    where = f" in a {event.side}-hander" if event.side else ""
    if event.direction in ("braking", "accelerating"):
        where = f" {event.direction}"
    if event.kind == "low_oil_pressure":
        where = ", not cornering"
    words = (
        f"Oil pressure fell to {_value(reader, event.peak, 'kPa')} for "
        f"{duration(event.duration_s)}{where}"
    )
    if "rpm" in at_worst:
        words += f" at {_value(reader, at_worst['rpm'], '1/min')}"
    if "expected_oil_pressure" in at_worst:
        words += f"; {_value(reader, at_worst['expected_oil_pressure'], 'kPa')} was expected"
    return f"{words}."


def _dry_start(
    event: Event, spec: EngineSpec, reader: Reader, at_worst: Mapping[str, float]
) -> str:
    return (
        f"The engine ran for {duration(event.duration_s)} after its start before oil pressure "
        f"stood; the least was {_value(reader, event.peak, 'kPa')}."
    )


def _over_rev(event: Event, spec: EngineSpec, reader: Reader, at_worst: Mapping[str, float]) -> str:
    how = {"driven": ", driven there by the wheels", "on_power": ", on power"}
    above = _above(reader, event.peak, spec.over_rev.redline_rpm, "1/min")
    words = (
        f"The engine turned {_value(reader, event.peak, '1/min')}, {above} above its redline, "
        f"beyond it for {duration(event.duration_s)}{how.get(event.cause or '', '')}"
    )
    if event.peak > spec.over_rev.mechanical_rpm:
        limit = _value(reader, spec.over_rev.mechanical_rpm, "1/min")
        words += f"; its mechanical limit is {limit}"
    return f"{words}."


def _coolant(event: Event, spec: EngineSpec, reader: Reader, at_worst: Mapping[str, float]) -> str:
    return _overheat("Coolant", event, spec.coolant_temperature.limit_c, reader)


def _oil(event: Event, spec: EngineSpec, reader: Reader, at_worst: Mapping[str, float]) -> str:
    return _overheat("Oil", event, spec.oil_temperature.limit_c, reader)


def _overheat(what: str, event: Event, limit_c: float, reader: Reader) -> str:
    soak = " after shutdown" if event.cause == "heat_soak" else ""
    return (
        f"{what} reached {_value(reader, event.peak, '°C')}{soak}, "
        f"{_above(reader, event.peak, limit_c, '°C')} above its limit, beyond it for "
        f"{duration(event.duration_s)}."
    )


def _overboost(
    event: Event, spec: EngineSpec, reader: Reader, at_worst: Mapping[str, float]
) -> str:
    above = _above(reader, event.peak, spec.boost.limit_kpa, "kPa")
    return (
        f"Boost reached {_value(reader, event.peak, 'kPa')}, {above} above its limit, beyond it "
        f"for {duration(event.duration_s)}."
    )


def _cold_load(
    event: Event, spec: EngineSpec, reader: Reader, at_worst: Mapping[str, float]
) -> str:
    words = (
        f"The engine was loaded for {duration(event.duration_s)} on cold oil, at up to "
        f"{_value(reader, event.peak, '1/min')}"
    )
    if "oil_temperature" in at_worst:
        oil = _value(reader, at_worst["oil_temperature"], "°C")
        warm = _value(reader, spec.oil_temperature.warm_c, "°C")
        words += f" with the oil at {oil}; it is warm at {warm}"
    return f"{words}."


def _any(event: Event, spec: EngineSpec, reader: Reader, at_worst: Mapping[str, float]) -> str:
    return (
        f"{capital(KINDS[event.kind].title)} for {duration(event.duration_s)}, "
        f"{worst_words(event.kind, event.peak, event.peak_unit, reader)}."
    )


_SENTENCES = {
    "over_rev": _over_rev,
    "oil_starvation": _pressure,
    "low_oil_pressure": _pressure,
    "dry_start": _dry_start,
    "coolant_overheat": _coolant,
    "oil_overheat": _oil,
    "overboost": _overboost,
    "cold_load": _cold_load,
}


def worst_words(kind: Kind, worst: float | None, unit: str, reader: Reader) -> str:
    """Return the worst value of events of a kind, as a table shows it."""
    if worst is None:
        return NOTHING
    way = "down to" if KINDS[kind].worst == "lowest" else "up to"
    return f"{way} {_value(reader, worst, unit)}"
