"""One run: normalised channels on one time base, and its form as an Arrow table.

The table is the contract of schemas/run.schema.json: ``time_s`` float64, each channel float32 in
its unit, each ``<channel>_flag`` uint8; what the file needs to explain itself is in its metadata.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from babbitt.errors import LogbookError

if TYPE_CHECKING:
    import pandas as pd

SCHEMA_VERSION = 1

GOOD, NOT_EVALUATED, SUSPECT, BAD, MISSING = 1, 2, 3, 4, 9
"""Quality flags: the IODE primary-level values that QARTOD adopts."""

FloatArray = npt.NDArray[np.float64]
ChannelArray = npt.NDArray[np.float32]
FlagArray = npt.NDArray[np.uint8]
BoolArray = npt.NDArray[np.bool_]
IndexArray = npt.NDArray[np.intp]

StartBasis = Literal["log", "stated", "file"]


@dataclass(frozen=True)
class Signal:
    """One channel of a run.

    Attributes:
        values: float32 in `unit`, NaN where missing; shape (samples,).
        flags: uint8 quality flag of each sample; shape (samples,).
        unit: symbol of the unit; "" where the log states none and the channel is not canonical.
        native_hz: rate at which the logger recorded it, before it was brought to the time base.
        header: the column's header in the log.
    """

    values: ChannelArray
    flags: FlagArray
    unit: str
    native_hz: float
    header: str

    def usable(self) -> BoolArray:
        """Where a sample may be judged: neither bad nor missing."""
        return self.flags < BAD


@dataclass(frozen=True)
class RunInfo:
    """What a run says of itself.

    Attributes:
        run_id: from the content of the log; the same log is the same run.
        engine_id: the engine it was ingested for.
        started_at: UTC.
        start_basis: the log's own clock, stated by the user, or the file's modification time.
        source_name: file name of the log, without its folder.
        source_sha256: of the log's bytes.
        dialect: how the log was read, a line each.
        conversions: unit, sign and reference conversions made, a sentence each.
        warnings: what a reader of this run should know, a sentence each.
        max_gap_s: a longer step between samples is a gap in the log.
    """

    run_id: str
    engine_id: str
    started_at: datetime
    start_basis: StartBasis
    source_name: str
    source_sha256: str
    dialect: tuple[str, ...]
    conversions: tuple[str, ...]
    warnings: tuple[str, ...]
    max_gap_s: float


@dataclass(frozen=True)
class Run:
    """One recording.

    Attributes:
        info: what it says of itself.
        time_s: float64 seconds from its start, strictly increasing; shape (samples,).
        signals: channel name -> signal, each on `time_s`.
    """

    info: RunInfo
    time_s: FloatArray
    signals: Mapping[str, Signal]

    @property
    def samples(self) -> int:
        """How many samples each channel has."""
        return len(self.time_s)

    @property
    def duration_s(self) -> float:
        """Seconds from the first sample to the last."""
        return float(self.time_s[-1]) if len(self.time_s) else 0.0

    @cached_property
    def long_steps(self) -> IndexArray:
        """The sample before each step that is longer than `info.max_gap_s`, ascending."""
        return steps_above(self.time_s, self.info.max_gap_s)

    def to_pandas(self, *, flags: bool = False) -> pd.DataFrame:
        """Return the channels as float32 columns over `time_s`, NaN where missing.

        ``attrs["units"]`` has the unit of each column, and of time_s.

        Args:
            flags: each channel is followed by `<channel>_flag`, the uint8 quality flag.
        """
        frame: pd.DataFrame = run_to_table(self).to_pandas().set_index("time_s")
        if not flags:
            frame = frame[list(self.signals)]
        units = {name: signal.unit for name, signal in self.signals.items()}
        frame.attrs["units"] = {"time_s": "s", **units}
        return frame

    def outline(self) -> RunOutline:
        """Return what can be said of the run without its samples."""
        signals = {
            name: SignalOutline(signal.unit, signal.native_hz, signal.header)
            for name, signal in self.signals.items()
        }
        return RunOutline(self.info, self.samples, self.duration_s, signals)


@dataclass(frozen=True)
class SignalOutline:
    """A channel of a run without its samples; attributes as those of `Signal`."""

    unit: str
    native_hz: float
    header: str


@dataclass(frozen=True)
class RunOutline:
    """A recording without its samples; attributes as those of `Run`."""

    info: RunInfo
    samples: int
    duration_s: float
    signals: Mapping[str, SignalOutline]


def steps_above(time_s: FloatArray, longest_s: float) -> IndexArray:
    """Return the sample before each step that is longer than `longest_s`, ascending."""
    return np.flatnonzero(np.diff(time_s) > longest_s)


def join_parts(parts: Sequence[Run], info: RunInfo) -> Run:
    """Return a run from its parts, in order; at least one."""
    if len(parts) == 1:
        return replace(parts[0], info=info)
    signals = {
        name: replace(
            signal,
            values=np.concatenate([part.signals[name].values for part in parts]),  # noqa: PD011
            flags=np.concatenate([part.signals[name].flags for part in parts]),
        )
        for name, signal in parts[0].signals.items()
    }
    return Run(info, np.concatenate([part.time_s for part in parts]), signals)


def run_to_table(run: Run) -> pa.Table:
    """Return the run as an Arrow table that any Parquet reader can use."""
    arrays: list[pa.Array] = [pa.array(run.time_s)]
    fields = [pa.field("time_s", pa.float64(), nullable=False, metadata={"unit": "s"})]
    for name, signal in run.signals.items():
        about = {"unit": signal.unit, "native_hz": repr(signal.native_hz), "header": signal.header}
        arrays += [pa.array(signal.values), pa.array(signal.flags)]
        fields += [
            pa.field(name, pa.float32(), nullable=False, metadata=about),
            pa.field(f"{name}_flag", pa.uint8(), nullable=False),
        ]
    schema = pa.schema(fields, metadata=info_metadata(run.info))
    return pa.Table.from_arrays(arrays, schema=schema)


def info_metadata(info: RunInfo) -> dict[str, str]:
    """Return what a run says of itself, as metadata of its table."""
    return {"babbitt": json.dumps(_info_to_json(info))}


def run_from_table(table: pa.Table) -> Run:
    """Return the run that `run_to_table` made; channels left out when reading stay out.

    Raises:
        LogbookError: the table is not a run, or of a newer schema version.
    """
    raw = (table.schema.metadata or {}).get(b"babbitt")
    if raw is None:
        raise LogbookError("This Parquet file is not a run: it carries no run metadata.")
    try:
        info = _info_from_json(json.loads(raw))
        return Run(info, _array(table, "time_s"), _signals(table))
    except (LookupError, TypeError, ValueError, AttributeError, RecursionError) as error:
        raise LogbookError(
            f"This Parquet file is not a run as this program writes one ({error})."
        ) from error


def _signals(table: pa.Table) -> dict[str, Signal]:
    signals = {}
    for field in table.schema:
        if field.name == "time_s" or field.name.endswith("_flag"):
            continue
        about = {key.decode(): value.decode() for key, value in (field.metadata or {}).items()}
        signals[field.name] = Signal(
            values=_array(table, field.name),
            flags=_array(table, f"{field.name}_flag"),
            unit=about["unit"],
            native_hz=float(about["native_hz"]),
            header=about["header"],
        )
    return signals


def _array(table: pa.Table, name: str) -> npt.NDArray[Any]:
    values: npt.NDArray[Any] = table.column(name).combine_chunks().to_numpy(zero_copy_only=False)
    return values


def _info_to_json(info: RunInfo) -> dict[str, Any]:
    return {
        "schema_version": SCHEMA_VERSION,
        **{name: getattr(info, name) for name in RunInfo.__dataclass_fields__},
        "started_at": info.started_at.astimezone(UTC).isoformat(),
    }


def _info_from_json(raw: dict[str, Any]) -> RunInfo:
    version = raw.pop("schema_version", None)
    if version != SCHEMA_VERSION:
        raise LogbookError(
            f"This run has schema version {version}; this program reads {SCHEMA_VERSION}: "
            "use the program that wrote it, or a newer one."
        )
    for name in ("dialect", "conversions", "warnings"):
        raw[name] = tuple(raw[name])
    return RunInfo(**{**raw, "started_at": datetime.fromisoformat(raw["started_at"])})
