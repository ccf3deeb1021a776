"""The one exception tree: every message is a sentence for the person at the bench.

Each says what is wrong, where (file, line, channel) and what to do about it, so that a caller may
show ``str(error)`` as it stands.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, TypeVar

MOST_TOLD = 20
"""So many faults of a file are told at once; of the others only their number."""

_LONG = re.compile(r"(\S{120})\S{280,}(\S{40})")
_LONGEST = 5000

_Fault = TypeVar("_Fault")


RemedyOption = Literal[
    "list_engines",
    "add_engine",
    "set_spec",
    "correct_built",
    "list_runs",
    "remove_run",
    "add_unlogged",
    "state_circuit",
    "list_events",
    "list_journal",
    "list_refused",
    "add_part",
    "fit_part",
    "remove_part",
    "new_logbook",
    "detect",
    "review",
    "logbook",
    "replacing",
    "earlier_build",
    "unit",
    "map",
    "profile",
    "dates",
    "started",
    "overlap",
    "swap",
    "zero",
    "without",
    "lateral_positive",
]
"""What can be done about a matter: a step of its own, or something to state with the same step."""


@dataclass(frozen=True)
class Remedy:
    """One way to put a matter right, whatever the reader does it with.

    Of remedies that do the same to the same, or make the same of several columns, one is enough:
    the likeliest comes first.

    Attributes:
        option: what to do.
        target: what to do it to: a channel, a column, a run, a part, an engine; "": the only one,
            or one that the reader has to say.
        value: what to set it to; "": the reader has to say.
    """

    option: RemedyOption
    target: str = ""
    value: str = ""

    def question(self) -> tuple[str, str]:
        """What it answers: of a column which is a channel, of anything else what it is set to."""
        return self.option, self.value if self.option == "map" else self.target


class BabbittError(Exception):
    """Something that the user can put right.

    What a sentence quotes may be of any length: a long piece of it, and a long whole, are cut.

    Attributes:
        remedies: what would put it right; the sentence names no command and no page.
    """

    def __init__(self, message: str, *remedies: Remedy) -> None:
        super().__init__(_cut(message))
        self.remedies = remedies


class SettingsError(BabbittError):
    """An engine spec, logger profile or logbook setting that cannot be used."""


class LogRefusedError(BabbittError):
    """A log that was not taken in; nothing of it was stored.

    Attributes:
        sentence: why, without the name of the log.
        later: nothing is wrong with it but the moment: it may be taken in when tried again.
    """

    def __init__(self, message: str, *remedies: Remedy, log: str = "", later: bool = False) -> None:
        super().__init__(f"{log}: {message}" if log else message, *remedies)
        self.sentence = message
        self.later = later


class LogbookError(BabbittError):
    """The logbook's folder or files are missing, damaged, too new or cannot be written."""


class RunFileError(LogbookError):
    """The file of one run is missing or damaged; other runs can be worked on all the same."""


class RegisterError(BabbittError):
    """A record that the register does not have, or cannot accept."""


class DamageModelError(BabbittError):
    """The damage model cannot answer for the records it was given."""


def tell_faults(faults: Sequence[_Fault], say: Callable[[_Fault], str]) -> str:
    """Return what is wrong with a file as the rest of a sentence, its end mark included.

    Args:
        faults: in their order; at least one.
        say: returns a fault as a clause.
    """
    more = f"; and {len(faults) - MOST_TOLD} more" if len(faults) > MOST_TOLD else ""
    return f"{'; '.join(map(say, faults[:MOST_TOLD]))}{more}."


def _cut(message: str) -> str:
    """Return a sentence without the middle of pieces, and of the whole, that nobody would read."""
    message = _LONG.sub(r"\1 ... \2", message)
    half = _LONGEST // 2
    return message if len(message) <= _LONGEST else f"{message[:half]} ... {message[-half:]}"
