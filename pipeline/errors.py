"""The one exception tree: every message is a sentence for the person at the bench.

Each says what is wrong, where (file, line, channel) and what to do about it, so that a caller may
show ``str(error)`` as it stands.
"""

from __future__ import annotations


class BabbittError(Exception):
    """Something that the user can put right."""


class SettingsError(BabbittError):
    """An engine spec, logger profile or logbook setting that cannot be used."""


class LogRefusedError(BabbittError):
    """A log that was not taken in; nothing of it was stored.

    Attributes:
        option: the command-line option that would settle the matter, ready to paste, or None.
        later: nothing is wrong with it but the moment: it may be taken in when tried again.
    """

    def __init__(self, message: str, *, option: str | None = None, later: bool = False) -> None:
        super().__init__(message)
        self.option = option
        self.later = later


class LogbookError(BabbittError):
    """The logbook's folder or files are missing, damaged, too new or cannot be written."""


class RegisterError(BabbittError):
    """A record that the register does not have, or cannot accept."""


class DamageModelError(BabbittError):
    """The damage model cannot answer for the records it was given."""
