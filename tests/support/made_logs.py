"""Made-up logs, dialects crossed with faults, and how many of them go in at the first try.

python -m made_logs [--show] prints the shares, and with --show what was said of each that failed.
The second try answers, with the truth, what the refusal of the first asked; nothing else.
"""

from __future__ import annotations

import hashlib
import random
import sys
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np

from babbitt.errors import LogRefusedError
from babbitt.ingest.read import Instructions, ReadSource, read_log
from babbitt.model.run import Run

SEED = 20260516
COUNT = 72
ROWS = 400
STEP_S = 0.05
STARTED = datetime(2026, 5, 16, 9, 30, tzinfo=UTC)
CHANNELS = ("rpm", "oil_pressure", "oil_temperature", "coolant_temperature", "throttle")
UNITS = {
    "rpm": ("1/min", 1.0, 0),
    "oil_pressure": ("bar", 0.01, 3),
    "oil_temperature": ("°C", 1.0, 1),
    "coolant_temperature": ("°C", 1.0, 1),
    "throttle": ("%", 1.0, 1),
}
"""Channel -> unit of the log, what a canonical value is times there, and decimals."""


@dataclass(frozen=True)
class Table:
    """A log before it is written.

    Attributes:
        heads: lines above the rows, cut into cells.
        rows: cells; shape (rows, columns).
        delimiter: between them.
        decimal: mark of its numbers.
    """

    heads: list[list[str]]
    rows: list[list[str]]
    delimiter: str
    decimal: str

    def data(self) -> bytes:
        rows = [[cell.replace(".", self.decimal) for cell in row] for row in self.rows]
        return "".join(self.delimiter.join(line) + "\n" for line in self.heads + rows).encode()


@dataclass(frozen=True)
class MadeLog:
    """A log with its truth.

    Attributes:
        name: its dialect and fault.
        data: its bytes.
        truth: channel -> values in canonical units, in order of time; shape (samples,).
        given: channel, or "time" -> the header and unit that a person would name.
    """

    name: str
    data: bytes
    truth: dict[str, np.ndarray]
    given: dict[str, tuple[str, str]]


def _truth(dice: np.random.Generator) -> dict[str, np.ndarray]:
    t = np.arange(ROWS) * STEP_S
    wave = 0.5 + 0.5 * np.sin(2 * np.pi * t / dice.uniform(5, 9) + dice.uniform(0, 6))
    rpm = 1500 + 5200 * wave + dice.normal(0, 12, ROWS)
    return {
        "rpm": rpm,
        "oil_pressure": 120 + 0.05 * rpm + dice.normal(0, 4, ROWS),
        "oil_temperature": np.linspace(84, 96, ROWS) + dice.normal(0, 0.1, ROWS),
        "coolant_temperature": np.linspace(78, 86, ROWS) + dice.normal(0, 0.1, ROWS),
        "throttle": np.clip(100 * wave + dice.normal(0, 1, ROWS), 0, 100),
    }


def _cells(truth: dict[str, np.ndarray], time: Callable[[int], str]) -> list[list[str]]:
    columns = [[time(i) for i in range(ROWS)]]
    for name in CHANNELS:
        _, factor, decimals = UNITS[name]
        columns.append([f"{value * factor:.{decimals}f}" for value in truth[name]])
    return [list(row) for row in zip(*columns, strict=True)]


def _elapsed(i: int) -> str:
    return f"{i * STEP_S:.2f}"


def _epoch(power: int) -> Callable[[int], str]:
    start = int(STARTED.timestamp())
    return lambda i: (
        f"{start + i * STEP_S:.2f}"
        if power == 0
        else str(start * 10**power + i * round(STEP_S * 10**power))
    )


def _iso(i: int) -> str:
    at = STARTED.timestamp() + i * STEP_S
    return datetime.fromtimestamp(at, UTC).strftime("%Y-%m-%d %H:%M:%S.%f")[:-3]


_UNIT_ROW = ["1/min", "bar", "°C", "°C", "%"]
_WORDS = {
    "english": "Time|Engine RPM|Oil Pressure|Oil Temp|Coolant Temp|Throttle",
    "german": "Zeit|Motordrehzahl|Öldruck|Motoröltemperatur|Kühlwassertemperatur|Drosselklappe",
    "french": "Temps|Régime moteur|Pression huile moteur|Température huile|"
    "Température eau|Papillon",
    "spanish": "Tiempo|Revoluciones|Presión de aceite|Temperatura aceite|"
    "Temperatura agua|Acelerador",
    "italian": "Tempo|Giri motore|Pressione olio|Temperatura olio|Temperatura acqua|Farfalla",
    "japanese": "時間|エンジン回転数|油圧|油温|水温|スロットル開度",
    "short": "t|nmot|P_Oil_Main|T_Oil|T_water|TPS",
    "bus": "timestamps|EEC1.EngSpeed|EFLP1.EngOilPress|ET1.EngOilTemp1|"
    "ET1.EngCoolantTemp|ETC2.ThrottlePosition",
    "shop": "run_time|EngRev|Main Oil Press|Sump Oil Temp|Water Temp|Throttle Pos",
}


def _words(key: str) -> list[str]:
    return _WORDS[key].split("|")


def _bracketed(words: str, delimiter: str, decimal: str) -> Callable[[list[list[str]]], Table]:
    names = [f"{name} [{u}]" for name, u in zip(_words(words), ["s", *_UNIT_ROW], strict=True)]
    return lambda rows: Table([names], rows, delimiter, decimal)


def _unit_row(words: str, time_unit: str, delimiter: str = ",") -> Callable[..., Table]:
    return lambda rows: Table([_words(words), [time_unit, *_UNIT_ROW]], rows, delimiter, ".")


def _three_rows(rows: list[list[str]]) -> Table:
    sources = ["Logger", "ECU", "ECU", "Sensor", "ECU", "ECU"]
    return Table([_words("english"), sources, ["s", *_UNIT_ROW]], rows, ",", ".")


def _glued(delimiter: str, decimal: str) -> Callable[[list[list[str]]], Table]:
    units = ["", "RPM", "bar", "C", "C", "%"]
    return lambda rows: Table(
        [_words("english")],
        [[cell + unit for cell, unit in zip(row, units, strict=True)] for row in rows],
        delimiter,
        decimal,
    )


def _empty_brackets(rows: list[list[str]]) -> Table:
    return Table([[f"{name} []" for name in _words("english")]], rows, ",", ".")


def _noted(rows: list[list[str]]) -> Table:
    heads = [["Driver", "second"], ["Circuit", "Tollbar Bowl"], [""]]
    table = _bracketed("english", ",", ".")(rows)
    return replace(table, heads=heads + table.heads)


def _quoted(rows: list[list[str]]) -> Table:
    table = _bracketed("english", ",", ".")(rows)
    heads, quoted = ([[f'"{c}"' for c in row] for row in part] for part in (table.heads, rows))
    return Table(heads, quoted, ",", ".")


DIALECTS: dict[str, tuple[Callable[[int], str], Callable[[list[list[str]]], Table]]] = {
    "english": (_elapsed, _bracketed("english", ",", ".")),
    "german": (_elapsed, _bracketed("german", ";", ",")),
    "french": (_elapsed, _bracketed("french", "\t", ",")),
    "spanish": (_elapsed, _bracketed("spanish", ";", ",")),
    "italian": (_elapsed, _bracketed("italian", ";", ",")),
    "japanese": (_elapsed, _bracketed("japanese", ",", ".")),
    "abbreviations": (_elapsed, _unit_row("short", "s")),
    "bus, epoch ms": (_epoch(3), _unit_row("bus", "ms")),
    "bus, epoch without unit": (_epoch(3), _unit_row("bus", "")),
    "epoch s": (_epoch(0), _unit_row("shop", "")),
    "epoch us": (_epoch(6), _unit_row("shop", "")),
    "epoch ns": (_epoch(9), _unit_row("shop", "", "\t")),
    "dates": (_iso, _unit_row("shop", "")),
    "three header rows": (_elapsed, _three_rows),
    "glued units": (_elapsed, _glued(",", ".")),
    "glued units, decimal commas": (_elapsed, _glued(";", ",")),
    "empty brackets": (_elapsed, _empty_brackets),
    "notes above": (_elapsed, _noted),
    "quoted": (_elapsed, _quoted),
}

Fault = Callable[[Table, random.Random], tuple[Table, np.ndarray]]
"""Returns the damaged table, and which samples of the truth it holds, in order of time."""

_ALL = np.arange(ROWS)


def _sound(table: Table, _: random.Random) -> tuple[Table, np.ndarray]:
    return table, _ALL


def _block_twice(table: Table, dice: random.Random) -> tuple[Table, np.ndarray]:
    at, size = dice.randrange(20, ROWS - 40), dice.choice([1, 4, 30])
    rows = table.rows
    return replace(table, rows=rows[: at + size] + rows[at : at + size] + rows[at + size :]), _ALL


def _blocks_twice(table: Table, dice: random.Random) -> tuple[Table, np.ndarray]:
    for _ in range(3):
        table, _none = _block_twice(table, dice)
    return table, _ALL


def _out_of_order(table: Table, dice: random.Random) -> tuple[Table, np.ndarray]:
    rows = list(table.rows)
    for _ in range(5):
        at = dice.randrange(10, ROWS - 20)
        part = rows[at : at + 5]
        dice.shuffle(part)
        rows[at : at + 5] = part
    return replace(table, rows=rows), _ALL


def _restarted(table: Table, dice: random.Random) -> tuple[Table, np.ndarray]:
    half = ROWS // 2
    again = [
        [first[0], *row[1:]] for first, row in zip(table.rows, table.rows[half:], strict=False)
    ]
    return replace(table, rows=table.rows[:half] + again), _ALL


def _restarted_with_header(table: Table, dice: random.Random) -> tuple[Table, np.ndarray]:
    restarted, _ = _restarted(table, dice)
    half = ROWS // 2
    rows = restarted.rows
    return replace(restarted, rows=rows[:half] + table.heads + rows[half:]), _ALL


def _coarse(table: Table, dice: random.Random) -> tuple[Table, np.ndarray]:
    """Leave whole seconds of the clock."""
    per_s = round(1 / STEP_S)
    rows = [[table.rows[i - i % per_s][0], *row[1:]] for i, row in enumerate(table.rows)]
    return replace(table, rows=rows), _ALL


def _one_instant(table: Table, dice: random.Random) -> tuple[Table, np.ndarray]:
    rows = [[table.rows[0][0], *row[1:]] for row in table.rows]
    return replace(table, rows=rows), _ALL


def _rows_lost(table: Table, dice: random.Random) -> tuple[Table, np.ndarray]:
    at = dice.randrange(50, ROWS - 100)
    return replace(table, rows=table.rows[:at] + table.rows[at + 30 :]), np.r_[0:at, at + 30 : ROWS]


def _spare_columns(table: Table, dice: random.Random) -> tuple[Table, np.ndarray]:
    spare = ["Gearbox Oil Temp", "Turbo Speed", "Status"]
    heads = [*table.heads[:-1], table.heads[-1] + (spare if len(table.heads[-1]) > 2 else [])]
    if len(table.heads) > 1 and len(table.heads[0]) > 2:  # names above units
        heads = [table.heads[0] + spare, *([*line, "", "", ""] for line in table.heads[1:])]
    rows = [[*row, f"{60 + i % 7}", f"{90000 + i}", "ok"] for i, row in enumerate(table.rows)]
    return replace(table, heads=heads, rows=rows), _ALL


def _rail(table: Table, dice: random.Random) -> tuple[Table, np.ndarray]:
    foot = [["Max", *table.rows[ROWS // 2][1:]], ["end of log"]]
    return replace(table, rows=table.rows + foot), _ALL


FAULTS: dict[str, Fault] = {
    "sound": _sound,
    "a block twice": _block_twice,
    "three blocks twice": _blocks_twice,
    "out of order": _out_of_order,
    "restarted": _restarted,
    "restarted with its header": _restarted_with_header,
    "coarse clock": _coarse,
    "one instant": _one_instant,
    "rows lost": _rows_lost,
    "more columns": _spare_columns,
    "a footer": _rail,
}


def made_logs(seed: int = SEED, count: int = COUNT) -> Iterator[MadeLog]:
    """Yield logs, each dialect and each fault as often as any other."""
    dice = random.Random(seed)
    pairs = [(d, f) for d in DIALECTS for f in FAULTS]
    dice.shuffle(pairs)
    chosen: list[tuple[str, str]] = [(d, "sound") for d in DIALECTS]
    seen = Counter(d for d, _ in chosen) + Counter(f for _, f in chosen)
    while len(chosen) < count:
        pair = min((p for p in pairs if p not in chosen), key=lambda p: seen[p[0]] + seen[p[1]])
        chosen.append(pair)
        seen.update(pair)
    for number, (dialect, fault) in enumerate(chosen):
        truth = _truth(np.random.default_rng([seed, number]))
        time, write = DIALECTS[dialect]
        table, kept = FAULTS[fault](write(_cells(truth, time)), dice)
        names = table.heads[-1 if "notes" in dialect else 0]
        given = {c: (names[i + 1].strip('"'), UNITS[c][0]) for i, c in enumerate(CHANNELS)}
        time_unit = {"bus, epoch ms": "ms", "bus, epoch without unit": "ms", "epoch us": "us"}
        given["time"] = (names[0].strip('"'), time_unit.get(dialect, "s"))
        yield MadeLog(
            f"{dialect}; {fault}",
            table.data(),
            {name: values[kept] for name, values in truth.items()},
            given,
        )


@dataclass(frozen=True)
class Outcome:
    """What became of a log.

    Attributes:
        tries: 1 or 2; 0: refused twice.
        wrong: taken in with other values than the truth's, and how; "" where right.
        said: the refusals.
    """

    tries: int
    wrong: str
    said: tuple[str, ...]


def take_in(log: MadeLog) -> Outcome:
    """Try a log as it stands, and then with truthful answers to what was asked."""
    digest = hashlib.sha256(log.data).hexdigest()
    source = ReadSource("session.csv", log.data, digest, STARTED)
    given = Instructions("NB-01", started=STARTED)
    said: list[str] = []
    for number in (1, 2):
        try:
            run = read_log(source, given)
        except LogRefusedError as error:
            said.append(str(error))
            given = answered(given, error, log)
            continue
        return Outcome(number, differs(run, log), tuple(said))
    return Outcome(0, "", tuple(said))


def answered(given: Instructions, error: LogRefusedError, log: MadeLog) -> Instructions:
    """Return the instructions with a truthful answer to everything that a refusal asks for."""
    for remedy in error.remedies:
        if remedy.option == "unit":
            name, unit = remedy.target, log.given[remedy.target][1]
            if name == "time" and "one instant" in log.name:
                unit = f"{1.0 / STEP_S:g} Hz"
            given = replace(given, units={**given.units, name: unit})
        elif remedy.option == "map":
            name = remedy.value
            given = replace(given, columns={**given.columns, log.given[name][0]: name})
    return given


def differs(run: Run, log: MadeLog) -> str:
    """Return how a run differs from the truth, "" where it does not."""
    steps = np.diff(run.time_s)
    usual = float(np.median(steps)) if len(steps) else 0.0
    if abs(usual - STEP_S) > 0.1 * STEP_S:
        return f"its samples are {usual:g} s apart, not {STEP_S:g}"
    for name, values in log.truth.items():
        if name not in run.signals:
            return f"{name} is not in it"
        read = run.signals[name].values
        if len(read) != len(values):
            return f"it has {len(read)} samples, not {len(values)}"
        off = float(np.nanmax(np.abs(read - values)))
        if np.isnan(read).any() or off > 0.001 * float(np.max(values)) + 0.6:
            return f"{name} is off by {off:g}"
    return ""


def measure(logs: Sequence[MadeLog]) -> dict[str, Outcome]:
    """Return what became of each log."""
    return {log.name: take_in(log) for log in logs}


if __name__ == "__main__":
    ends = measure(list(made_logs()))
    right = [outcome for outcome in ends.values() if not outcome.wrong]
    first = sum(outcome.tries == 1 for outcome in right)
    second = first + sum(outcome.tries == 2 for outcome in right)
    wrong = len(ends) - len(right)
    print(
        f"{len(ends)} logs: {first} right at the first try, {second} by the second, {wrong} wrong"
    )
    if "--show" in sys.argv:
        for name, outcome in ends.items():
            if outcome.tries != 1 or outcome.wrong:
                print(f"- {name}: {outcome.tries} {outcome.wrong} {' | '.join(outcome.said)}")
