"""The lines of a log that are its rows, without what power cuts and footers put among them."""

from __future__ import annotations

import re
from collections.abc import Iterator

from babbitt.ingest.text.decode import Block, Text
from babbitt.ingest.text.dialect import Dialect
from babbitt.ingest.text.footer import find_footer
from babbitt.ingest.time.restart import Piece, split_at_headers

_LOOKED_BACK = 50
"""Lines whose last cells show how long a whole one is."""

_decimals = re.compile(rb'[+-]?\d+[.,](\d+)"?')


class RowLines:
    """Passes on the lines of one log that are its rows, and says what it left out."""

    def __init__(self, text: Text, dialect: Dialect, time: int | None) -> None:
        """Begin above the first row.

        Args:
            text: of the log.
            dialect: of the log.
            time: index of its time column, None where it has none.
        """
        self._text = text
        self._dialect = dialect
        self._time = time
        self._zeros = self._first_zero = 0
        self._said: list[str] = []

    def pieces(self, size: int) -> Iterator[Piece]:
        """Yield the rows, in pieces of about `size` bytes; to be taken once.

        Raises:
            LogRefusedError: a line never ends, or a header of other columns comes.
        """
        for piece in split_at_headers(self._trimmed(size), self._dialect, self._text.name):
            if piece.restart is not None:
                line = piece.restart.line
                self._said.append(
                    f"The header comes again in line {line}: a restart, or another log."
                )
            yield piece

    def warnings(self) -> tuple[str, ...]:
        """Say what was left out, once every piece was taken."""
        if not self._zeros:
            return tuple(self._said)
        zeros = (
            f"Zero bytes, as a loss of power leaves them, were left out: {self._zeros:,}, from "
            f"line {self._first_zero} on."
        )
        return (zeros, *self._said)

    def _trimmed(self, size: int) -> Iterator[tuple[bytes, int]]:
        first, offset = self._dialect.first_line, self._dialect.offset
        for block in self._text.blocks(offset, first, size):
            if block.zeros and not self._zeros:
                self._first_zero = block.first_line
            self._zeros += block.zeros
            yield self._without_end(block) if block.last else block.data, block.first_line

    def _without_end(self, block: Block) -> bytes:
        """Leave out what stands below the rows, and a last row that breaks off in a number."""
        data = block.data
        begins = data.rfind(b"\n") + 1
        if begins < len(data) and self._breaks_off(data[:begins], data[begins:]):
            line = block.first_line + data.count(b"\n")
            self._said.append(f"Line {line}, the last, breaks off in a number; left out.")
            return data[:begins]
        if not data.strip():
            return data
        footer = find_footer(data, block.first_line, self._dialect, self._time)
        if footer.lines:
            self._said.append(footer.sentence())
        return data[: footer.offset]

    def _breaks_off(self, above: bytes, last: bytes) -> bool:
        """Whether the last number has fewer decimals than it had in every line above."""
        mark = self._dialect.delimiter.encode()
        lines = [line.rstrip(b"\r") for line in above.split(b"\n")[-_LOOKED_BACK - 1 : -1]]
        usual = {_decimals_of(line.rpartition(mark)[2]) for line in lines}
        return (
            len(lines) > 1
            and len(usual) == 1
            and last.count(mark) + 1 == self._dialect.cells
            and _decimals_of(last.rpartition(mark)[2]) < min(usual)
        )


def _decimals_of(cell: bytes) -> int:
    match = _decimals.fullmatch(cell.strip())
    return len(match[1]) if match else 0
