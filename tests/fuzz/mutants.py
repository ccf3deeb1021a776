"""Damage to a log, of the sorts that disks, cables, power cuts, spreadsheets and people do."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence

TOKENS = [
    *("", "-", "NaN", "inf", "-inf", "1e400", "-1e-400", "0x1F", "1e", "+", ".", ",", "1.2.3"),
    *("1,2,3", "7'512", "٣٫١٤", "１２", "=1+1", '"', '""', '"a', "#DIV/0!", "TRUE", "9" * 400),
    *("24:60:61", "00:00:00", "99/99/9999", "2026-02-30", "0000-00-00", "1/2/3", "12:00 AM"),
    *("2026-05-16T14:05:06Z", "9999-12-31 23:59:59", "-1", "1e12", "time", "RPM", "kPa", "psi"),
    *("\x1a", "\ufeff", "\u2028", "\u202e", "é", "\U0001f525", "\t", ";", "|", "a" * 3000),
]
ENCODINGS = (
    "utf-16-le",
    "utf-16-be",
    "utf-16",
    "utf-32",
    "cp037",
    "utf-7",
    "utf-8-sig",
    "mac-roman",
)

Damage = Callable[[random.Random, bytes, Sequence[bytes]], bytes]


def flip_bits(dice: random.Random, data: bytes, _: Sequence[bytes]) -> bytes:
    changed = bytearray(data)
    for _ in range(dice.choice([1, 1, 3, 20])):
        if changed:
            changed[dice.randrange(len(changed))] ^= 1 << dice.randrange(8)
    return bytes(changed)


def cut_off(dice: random.Random, data: bytes, _: Sequence[bytes]) -> bytes:
    return data[: dice.randrange(len(data) + 1)]


def cut_out(dice: random.Random, data: bytes, _: Sequence[bytes]) -> bytes:
    begin, end = _span(dice, data)
    return data[:begin] + data[end:]


def repeat(dice: random.Random, data: bytes, _: Sequence[bytes]) -> bytes:
    begin, end = _span(dice, data)
    at = dice.randrange(len(data) + 1)
    return data[:at] + data[begin:end] * dice.choice([1, 2, 5]) + data[at:]


def splice(dice: random.Random, data: bytes, others: Sequence[bytes]) -> bytes:
    other = dice.choice(others)
    return data[: dice.randrange(len(data) + 1)] + other[dice.randrange(len(other) + 1) :]


def append(dice: random.Random, data: bytes, others: Sequence[bytes]) -> bytes:
    return data + dice.choice([data, dice.choice(others)])


def shuffle_lines(dice: random.Random, data: bytes, _: Sequence[bytes]) -> bytes:
    lines = data.splitlines(keepends=True)
    begin, end = sorted(dice.randrange(len(lines) + 1) for _ in range(2))
    some = lines[begin:end]
    dice.shuffle(some)
    return b"".join(lines[:begin] + some + lines[end:])


def zero_bytes(dice: random.Random, data: bytes, _: Sequence[bytes]) -> bytes:
    at = dice.choice([len(data), dice.randrange(len(data) + 1)])
    return data[:at] + bytes(dice.choice([1, 7, 512, 4096])) + data[at:]


def odd_encoding(dice: random.Random, data: bytes, _: Sequence[bytes]) -> bytes:
    return data.decode("utf-8", errors="replace").encode(dice.choice(ENCODINGS), errors="replace")


def other_marks(dice: random.Random, data: bytes, _: Sequence[bytes]) -> bytes:
    old, new = dice.sample(b",;\t. '\"\n\r:/-", 2)
    begin, end = dice.choice([(0, len(data)), _span(dice, data)])
    changed = data[begin:end].replace(bytes([old]), bytes([new]))
    return data[:begin] + changed + data[end:]


def odd_cells(dice: random.Random, data: bytes, _: Sequence[bytes]) -> bytes:
    mark = dice.choice([b",", b";", b"\t"])
    lines = data.split(b"\n")
    for _ in range(dice.choice([1, 1, 3, 10])):
        at = dice.randrange(len(lines))
        cells = lines[at].split(mark)
        cells[dice.randrange(len(cells))] = dice.choice(TOKENS).encode("utf-8", errors="replace")
        lines[at] = mark.join(cells)
    return b"\n".join(lines)


def odd_column(dice: random.Random, data: bytes, _: Sequence[bytes]) -> bytes:
    lines = [line.split(b",") for line in data.split(b"\n")]
    at, token = dice.randrange(5), dice.choice(TOKENS).encode("utf-8", errors="replace")
    for line in lines[dice.randrange(3) :]:
        if at < len(line):
            line[at] = token
    return b"\n".join(b",".join(line) for line in lines)


def huge_cell(dice: random.Random, data: bytes, _: Sequence[bytes]) -> bytes:
    at = dice.randrange(len(data) + 1)
    return data[:at] + dice.choice([b"9", b"x", b'"', b"\xff", b","]) * 200_000 + data[at:]


def noise(dice: random.Random, data: bytes, _: Sequence[bytes]) -> bytes:
    at = dice.choice([0, dice.randrange(len(data) + 1)])
    return data[:at] + dice.randbytes(dice.choice([3, 50, 2000])) + data[at:]


DAMAGES: tuple[Damage, ...] = (
    flip_bits,
    flip_bits,
    cut_off,
    cut_out,
    repeat,
    splice,
    append,
    shuffle_lines,
    zero_bytes,
    odd_encoding,
    other_marks,
    odd_cells,
    odd_cells,
    odd_column,
    huge_cell,
    noise,
)


def mutant(seed: int, logs: Sequence[bytes]) -> tuple[int, bytes]:
    """Return one of the logs, damaged once to three times as the seed has it, and its index."""
    dice = random.Random(seed)
    index = dice.randrange(len(logs))
    data = logs[index]
    for _ in range(dice.choice([1, 1, 1, 2, 3])):
        data = dice.choice(DAMAGES)(dice, data, logs)
    return index, data


def _span(dice: random.Random, data: bytes) -> tuple[int, int]:
    begin = dice.randrange(len(data) + 1)
    return begin, min(len(data), begin + dice.choice([1, 10, 200, 5000]))
