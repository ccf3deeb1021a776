"""Remedies as commands of the terminal; pages make buttons and fields of the same values."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, cast

from babbitt.errors import Remedy, RemedyOption

if TYPE_CHECKING:
    from babbitt.jobs.ingest_result import Intake
    from babbitt.model.records import RunRecord
    from babbitt.model.sensor_doubt import SensorDoubt
    from babbitt.register.records.refusals import Refusal

_COMMANDS: dict[RemedyOption, str] = {
    "list_engines": "babbitt engine list",
    "add_engine": "babbitt engine add {target} --spec SPEC.toml",
    "set_spec": "babbitt engine spec {target} --spec SPEC.toml",
    "correct_built": "babbitt correct engine {target} built=WHEN",
    "list_runs": "babbitt run list",
    "remove_run": "babbitt run remove {target}",
    "add_unlogged": "babbitt run add-unlogged {target} --at WHEN --minutes M",
    "state_circuit": "babbitt run correct RUN_ID --circuit NAME",
    "list_events": "babbitt events",
    "list_journal": "babbitt journal",
    "list_refused": "babbitt refused list --set-aside",
    "add_part": "babbitt part add {target} --kind KIND",
    "fit_part": "babbitt part fit {target} --engine ID --at WHEN",
    "remove_part": "babbitt part remove {target} --at WHEN",
    "new_logbook": "babbitt new DIR",
    "detect": "babbitt detect",
    "review": "babbitt review EVENT_ID VERDICT",
}
"""Steps of their own."""

_OPTIONS: dict[RemedyOption, str] = {
    "logbook": "--logbook DIR",
    "replacing": "--replacing",
    "earlier_build": "--earlier-build",
    "unit": "--unit {target}={value}",
    "map": "--map {target}={value}",
    "profile": "--profile {value}",
    "dates": "--dates {value}",
    "started": "--started {value}",
    "overlap": "--overlap {value}",
    "swap": "--swap {target}={value}",
    "zero": "--zero {target}",
    "without": "--without {target}",
    "lateral_positive": "--lateral-positive {value}",
}
"""What is stated with the same step."""

_OPEN: dict[RemedyOption, str] = {"started": "WHEN", "unit": "UNIT", "map": "CHANNEL"}
"""What stands for a value that the reader has to say."""

_OPEN_TARGET: dict[RemedyOption, str] = {"map": "HEADER"}


def options_text(remedies: Iterable[Remedy]) -> str:
    """Options of a command, ready to paste, one for each question; "" where no remedy is one."""
    return " ".join(texts[0] for texts in _options(remedies))


def quoted(text: str) -> str:
    """Return a word as every shell takes it whole: as it is, or in quotes where it must be."""
    if re.fullmatch(r"[\w@%+=:,./°²³µ-]+", text):
        return text
    return shlex.quote(text) if re.search(r'["$`\\!]', text) else f'"{text}"'


def in_terminal(remedies: Sequence[Remedy]) -> list[str]:
    """What to type, a line for each step, and one for all that is stated with the same."""
    lines = [
        _COMMANDS[each.option].format(target=quoted(each.target))
        for each in remedies
        if each.option in _COMMANDS
    ]
    asked = _options(remedies)
    others = [f"{texts[0]}: or {' or '.join(texts[1:])}" for texts in asked if texts[1:]]
    same = [f"the same with {options_text(remedies)}"] if asked else []
    return [*same, *(f"in place of {other}" for other in others), *lines]


def doubt_sentence(doubt: SensorDoubt, run_id: str) -> str:
    """What speaks against a sensor, and the command that mends it."""
    if not doubt.remedies:
        return f"{doubt.evidence}."
    return f"{doubt.evidence}: `babbitt run reread {run_id} {options_text(doubt.remedies)}`."


def remarks_of(run: RunRecord | Intake) -> tuple[str, ...]:
    """What a reader of a run should know, its sensors included, a sentence each."""
    doubts = (doubt_sentence(doubt, run.run_id or "RUN_ID") for doubt in run.doubts)
    return (*run.warnings, *doubts)


def with_option(log: Intake | Refusal) -> dict[str, Any]:
    """Fields of a log for JSON: what settles a refusal is the option of a command, or None."""
    told = asdict(log)
    if told.pop("doubts", ()):
        told["warnings"] = remarks_of(cast("Intake", log))
    option = options_text(log.remedies) or None
    fields = {name: (name, value) for name, value in told.items()}
    return dict((fields | {"remedies": ("option", option)}).values())


def _options(remedies: Iterable[Remedy]) -> list[list[str]]:
    """Options that answer each question, the likeliest first."""
    asked: dict[tuple[str, str], list[str]] = {}
    for each in dict.fromkeys(remedies):
        if each.option in _OPTIONS:
            asked.setdefault(each.question(), []).append(_option(each))
    return list(asked.values())


def _option(remedy: Remedy) -> str:
    value = remedy.value or _OPEN.get(remedy.option, "")
    target = remedy.target or _OPEN_TARGET.get(remedy.option, "")
    flag, _, form = _OPTIONS[remedy.option].partition(" ")
    return f"{flag} {quoted(form.format(target=target, value=value))}" if form else flag
