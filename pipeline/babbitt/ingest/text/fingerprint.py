"""What kind of file a log is, told by how it is written: never by when, where or by which unit."""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import replace

from babbitt.errors import Remedy
from babbitt.ingest.source import Instructions, Problem, refusal
from babbitt.ingest.text.dialect import Dialect, Line
from babbitt.ingest.text.headers import fold
from babbitt.logbook.settings import Profile

_SERIAL = re.compile(r"\d{4,}")
"""So many digits in a header are a serial number, a date or a year."""

_KEY = re.compile(r"(?P<key>[^:=\d]*[^:=\d\s])\s*[:=]")


def fingerprint_of(dialect: Dialect) -> str:
    """Return 16 hexadecimal digits that files of one kind share.

    They depend on the delimiter, on the headers and units of the columns in whatever order, and on
    the keys of the notes above them. Values of notes, rows, serial numbers and dates do not count.

    Args:
        dialect: of the log.
    """
    columns = sorted(zip(map(_plain, dialect.headers), map(fold, dialect.units), strict=True))
    keys = sorted({_key(line) for line in dialect.notes} - {""})
    kind = json.dumps([dialect.delimiter, columns, keys])
    return hashlib.sha256(kind.encode()).hexdigest()[:16]


def recognise(dialect: Dialect, instructions: Instructions, name: str) -> Instructions:
    """Return the instructions with the profile that knows this kind of file, where one does.

    A profile that was named stays; so does whatever else was stated.

    Args:
        dialect: of the log.
        instructions: what was given.
        name: of the file, for errors.

    Raises:
        LogRefusedError: several profiles know it.
    """
    if instructions.profile_name is not None or not instructions.profiles:
        return instructions
    kind = fingerprint_of(dialect)
    fitting = [each for each, it in instructions.profiles.items() if it.fingerprint == kind]
    if not fitting:
        return instructions
    if len(fitting) > 1:
        sentence = (
            f"the profiles {' and '.join(fitting)} fit this kind of file equally: say which is "
            "meant"
        )
        remedies = tuple(Remedy("profile", value=each) for each in fitting)
        raise refusal(name, (Problem(sentence, remedies),))
    profile = instructions.profiles[fitting[0]].overlaid(instructions.profile or Profile())
    return replace(instructions, profile=profile, profile_name=fitting[0])


def _plain(header: str) -> str:
    return _SERIAL.sub("", fold(header))


def _key(line: Line) -> str:
    """Return the key of a note; "" where it is a value alone. A key holds no digit."""
    first = line.cells[0]
    match = _KEY.match(first)
    key = match["key"] if match else first if len(line.cells) > 1 else ""
    return "" if re.search(r"\d", key) else fold(key)
