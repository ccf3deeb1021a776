"""Channels in each other's place, pressures from the wrong zero, and readings that do not move."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from babbitt.errors import Remedy
from babbitt.model.sensor_doubt import SensorDoubt
from babbitt.sensors.summary import Level, SensorSummary
from babbitt.sensors.usual import Usual
from babbitt.sensors.words import runs_in_words, title_of, unit_logged

AMBIENT_KPA = (80.0, 108.0)
"""Ambient pressure from a road at 1,900 m to the deepest of lows is within these."""

QUIET = {"oil_pressure": 6.0, "boost": 6.0, "lateral_g": 0.1}
"""A reading that spreads further at rest is not at rest: a priming pump, a car pushed about."""

OFFSETS = {"oil_pressure": 15.0, "boost": 10.0, "lateral_g": 0.12}
"""Larger readings at rest are none of a sound sensor: 1 or 2 % of its range, or for lateral
acceleration the slope of a paddock (common practice, no source)."""

NO_IDLE_BOOST_KPA = 40.0
"""No engine makes more at idle (common practice, no source)."""

CROSSED = 0.4
"""Share of the misfit that may be left once two channels are exchanged (our own choice)."""

FOLLOWS = 1.3
STANDS_STILL = 1.06
"""Highest over lowest oil pressure by engine speed: of a sound run at least; of a frozen one."""


def exchanged(now: SensorSummary, usual: Usual) -> tuple[SensorDoubt, ...]:
    """Say which channels seem to be in each other's place.

    Args:
        now: of the run.
        usual: of earlier runs; where there are none, only boost that is none is found.
    """
    found = []
    if _crossed("oil_temperature", "coolant_temperature", [(now.running, usual.running)], 8.0):
        found.append(
            _exchange(
                ("oil_temperature", "coolant_temperature"),
                f"each reads what the other did in {runs_in_words(usual.runs)}",
            )
        )
    both = [(now.idling, usual.idling), (now.running, usual.running)]
    boost, oil = now.idling.get("boost"), now.idling.get("oil_pressure")
    if _crossed("oil_pressure", "boost", both, 40.0):
        against = f"each reads what the other did in {runs_in_words(usual.runs)}"
        found.append(_exchange(("oil_pressure", "boost"), against))
    elif boost and oil and boost.median > max(NO_IDLE_BOOST_KPA, oil.median + NO_IDLE_BOOST_KPA):
        against = (
            f"at idle boost reads {boost.median:.0f} kPa and oil pressure {oil.median:.0f} kPa"
        )
        found.append(_exchange(("oil_pressure", "boost"), against))
    return tuple(found)


def _exchange(names: tuple[str, str], against: str) -> SensorDoubt:
    one, other = (title_of(name) for name in names)
    evidence = f"{one} and {other.lower()} seem to be exchanged: {against}; if so"
    return SensorDoubt("exchanged", names, evidence, (Remedy("swap", *names),))


def _crossed(
    one: str,
    other: str,
    states: Sequence[tuple[Mapping[str, Level], Mapping[str, Level]]],
    least_apart: float,
) -> bool:
    """Tell whether two channels read what the other usually does, and that is not the same."""
    straight = across = apart = 0.0
    count = 0
    for now, usual in states:
        if any(name not in levels for name in (one, other) for levels in (now, usual)):
            continue
        for part in ("low", "median", "high"):
            a, b = getattr(now[one], part), getattr(now[other], part)
            usual_a, usual_b = getattr(usual[one], part), getattr(usual[other], part)
            straight += abs(a - usual_a) + abs(b - usual_b)
            across += abs(a - usual_b) + abs(b - usual_a)
            apart += abs(usual_a - usual_b)
            count += 1
    return count > 0 and apart >= count * least_apart and across < CROSSED * straight


def wrong_zero(
    now: SensorSummary, usual: Usual, logged: Mapping[str, str]
) -> tuple[SensorDoubt, ...]:
    """Say which pressures seem to be absolute where gauge was taken, or the other way round.

    A gauge reads nothing with the engine at rest, an absolute sensor what the weather does. Where
    the run shows no rest, every reading must be off by about as much from those of earlier runs.

    Args:
        now: of the run.
        usual: of earlier runs.
        logged: channel -> symbol of the unit that it was read in.
    """
    found = []
    for name in ("oil_pressure", "boost"):
        off = _off_kpa(name, now, usual)
        if off is None or not AMBIENT_KPA[0] <= abs(off[0]) <= AMBIENT_KPA[1]:
            continue
        kpa, where = off
        symbol = unit_logged(name, logged).symbol
        spelt = f"{symbol}a" if kpa > 0 else f"{symbol}g"
        stated = symbol in ("kPa", "bar", "psi")
        settles = Remedy("unit", name, spelt) if stated else Remedy("zero", name)
        meant = "absolute" if kpa > 0 else "a gauge pressure"
        taken = "gauge" if kpa > 0 else "absolute"
        found.append(
            SensorDoubt(
                "absolute" if kpa > 0 else "gauge",
                (name,),
                f"{title_of(name)} reads {kpa:.0f} kPa {where}; if it is {meant}, taken as {taken}",
                (settles,),
            )
        )
    return tuple(found)


def _off_kpa(name: str, now: SensorSummary, usual: Usual) -> tuple[float, str] | None:
    """Return how far a pressure is off, and by what evidence."""
    rest = now.standing.get(name)
    if rest is not None and rest.high - rest.low <= QUIET[name]:
        return rest.median, "with the engine at rest"
    pairs = [(p.kpa, usual.pressure[p.rpm]) for p in now.pressure if p.rpm in usual.pressure]
    if name == "boost":
        pairs = [
            (getattr(levels[name], part), getattr(before[name], part))
            for levels, before in ((now.idling, usual.idling), (now.running, usual.running))
            if name in levels and name in before
            for part in ("low", "median")
        ]
    off = sorted(kpa - usual_kpa for kpa, usual_kpa in pairs)
    if len(off) < 3 or off[-1] - off[0] > 0.4 * abs(off[len(off) // 2]):
        return None
    return off[len(off) // 2], f"off those of {runs_in_words(usual.runs)}"


def offsets(now: SensorSummary) -> tuple[SensorDoubt, ...]:
    """Say which channels read something with the engine at rest, where there is nothing."""
    found = []
    for name, most in OFFSETS.items():
        rest = now.standing.get(name)
        if rest is None or rest.high - rest.low > QUIET[name] or abs(rest.median) < most:
            continue
        number = f"{rest.median:.2f} g" if name == "lateral_g" else f"{rest.median:.0f} kPa"
        pump = ", unless a pump primed the oil" if name == "oil_pressure" else ""
        found.append(
            SensorDoubt(
                "offset",
                (name,),
                f"{title_of(name)} reads {number} for {rest.seconds:.0f} s with the engine at "
                f"rest, where there is none{pump}; to take that off every reading",
                (Remedy("zero", name),),
            )
        )
    return tuple(found)


def frozen(now: SensorSummary, usual: Usual) -> tuple[SensorDoubt, ...]:
    """Say that oil pressure does not follow engine speed, where in earlier runs it did."""
    pairs = [(p.kpa, usual.pressure[p.rpm]) for p in now.pressure if p.rpm in usual.pressure]
    kpa, before = [p[0] for p in pairs], [p[1] for p in pairs]
    if len(pairs) < 4 or min(kpa) <= 15.0 or min(before) <= 0.0:
        return ()
    if max(before) < FOLLOWS * min(before) or max(kpa) > STANDS_STILL * min(kpa):
        return ()
    return (
        SensorDoubt(
            "frozen",
            ("oil_pressure",),
            f"Oil pressure stays within {min(kpa):.0f} and {max(kpa):.0f} kPa at engine speeds "
            f"between which it changed from {min(before):.0f} to {max(before):.0f} kPa in "
            f"{runs_in_words(usual.runs)}; to count it as not watched",
            (Remedy("without", "oil_pressure"),),
        ),
    )
