"""The samples of a log between parsing and judging: in memory, and beyond a limit in a file."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt

from babbitt.model.run import ChannelArray, FloatArray

MEMORY_BYTES = 80_000_000
"""Samples held in memory; more go into a temporary file, so many at a time."""

PIECE = 1 << 19
"""Samples read at a time where all of a column are looked at."""

_TIME_BYTES, _COLUMN_BYTES = 8, 4


class SampleStore:
    """Time and columns of a log, appended block by block and read in any stretch.

    Columns are float32 with NaN where blank, times float64, strictly increasing.
    """

    def __init__(self, columns: Sequence[int], folder: Path | None = None) -> None:
        """Begin with no samples.

        Args:
            columns: those that every block brings.
            folder: for a temporary file; None: the system's.
        """
        self.samples = 0
        self._folder = folder
        self._place = {column: i for i, column in enumerate(columns)}
        self._room = max(1, MEMORY_BYTES // (_TIME_BYTES + _COLUMN_BYTES * len(columns)))
        # Memory that is not written to is not taken.
        self._time_s: FloatArray = np.empty(self._room)
        self._columns: npt.NDArray[np.float32] = np.empty((len(columns), self._room), np.float32)
        self._files = ExitStack()
        self._file: BinaryIO | None = None

    def __enter__(self) -> SampleStore:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let the temporary file vanish."""
        self._files.close()

    def append(self, time_s: FloatArray, columns: Mapping[int, ChannelArray]) -> None:
        """Append samples.

        Args:
            time_s: shape (samples,).
            columns: column -> its values; shape (samples,) each.
        """
        done = 0
        while done < len(time_s):
            held = self.samples % self._room
            if self.samples and not held:
                self._write_out()
            count = min(len(time_s) - done, self._room - held)
            here, there = slice(held, held + count), slice(done, done + count)
            self._time_s[here] = time_s[there]
            for column, place in self._place.items():
                self._columns[place, here] = columns[column][there]
            self.samples += count
            done += count

    def time_s(self, start: int, stop: int) -> FloatArray:
        """Return the times of samples `start` to `stop`."""
        return self._read(self._time_s, 0, start, stop)

    def column(self, index: int, start: int, stop: int) -> ChannelArray:
        """Return the values of a column at samples `start` to `stop`."""
        place = self._place[index]
        begins = (_TIME_BYTES + _COLUMN_BYTES * place) * self._room
        return self._read(self._columns[place], begins, start, stop)

    def pieces(self) -> Iterator[tuple[int, int]]:
        """Yield the bounds of stretches of samples that together are all of them."""
        for start in range(0, self.samples, PIECE):
            yield start, min(start + PIECE, self.samples)

    def _read(self, held: npt.NDArray[Any], begins: int, start: int, stop: int) -> npt.NDArray[Any]:
        """Return values `start` to `stop` of one array.

        Its last are `held` in memory; `begins` is the byte at which it begins in every fill of
        memory that was written.
        """
        parts: list[npt.NDArray[Any]] = []
        while start < stop:
            fill, first = divmod(start, self._room)
            count = min(stop - start, self._room - first)
            if fill == max(self.samples - 1, 0) // self._room:
                parts.append(held[first : first + count])
            else:
                at = fill * (self._time_s.nbytes + self._columns.nbytes) + begins
                parts.append(self._from_file(at + first * held.itemsize, count, held.dtype))
            start += count
        if len(parts) == 1:
            return parts[0]
        return np.concatenate(parts) if parts else held[:0]

    def _from_file(self, at: int, count: int, dtype: np.dtype[Any]) -> npt.NDArray[Any]:
        if self._file is None:
            raise ValueError("nothing was written to the file")
        self._file.seek(at)
        return np.frombuffer(self._file.read(count * dtype.itemsize), dtype)

    def _write_out(self) -> None:
        """Write a fill of memory to the file."""
        if self._file is None:
            self._file = self._files.enter_context(
                tempfile.TemporaryFile(dir=self._folder)  # noqa: SIM115 - closed by close()
            )
        self._file.seek(0, 2)
        self._file.write(self._time_s.data)
        self._file.write(self._columns.data)
