import hypothesis.strategies as st
import pytest
from hypothesis import given

from babbitt.errors import LogRefusedError
from babbitt.ingest.text.decode import read_text
from babbitt.ingest.text.dialect import Dialect, find_dialect
from babbitt.ingest.time.restart import Piece, Restart, restarted, shift_after, split_at_headers
from ingest_logs import source_of

NOTES = "Start,2026-05-16 14:00:00\nUnit,3\n\n"
HEADER = "time,rpm\ns,1/min\n"
ROWS = "".join(f"{i / 10},{1000 + i}\n" for i in range(9))


def dialect_of(log: str) -> Dialect:
    return find_dialect(read_text(source_of(log)), "a.csv")


def pieces_of(log: str, dialect: Dialect, size: int = 1 << 20) -> list[Piece]:
    body = log.encode()[dialect.offset :]
    blocks: list[tuple[bytes, int]] = []
    held, line = b"", dialect.first_line
    for each in body.splitlines(keepends=True):
        held += each
        if len(held) >= size:
            blocks.append((held, line))
            line += held.count(b"\n")
            held = b""
    blocks.append((held, line))
    return list(split_at_headers(blocks, dialect, "a.csv"))


def test_log_without_another_header_is_one_piece() -> None:
    log = NOTES + HEADER + ROWS
    assert pieces_of(log, dialect_of(log)) == [Piece(ROWS.encode(), 6, None)]


def test_notes_header_and_units_that_come_again_are_cut_out() -> None:
    again = NOTES.replace("14:00", "14:10")
    log = NOTES + HEADER + ROWS + again + HEADER + ROWS
    first, second = pieces_of(log, dialect_of(log))
    assert (first.data, first.first_line, first.restart) == (ROWS.encode(), 6, None)
    assert (second.data, second.first_line) == (ROWS.encode(), 20)
    assert second.restart is not None
    assert second.restart.line == 18
    assert [line.cells[0] for line in second.restart.notes] == ["Start", "Unit"]


def test_last_of_several_headers_without_rows_between_counts() -> None:
    log = HEADER + ROWS + HEADER + HEADER + ROWS + HEADER
    pieces = pieces_of(log, dialect_of(log))
    assert [piece.data for piece in pieces] == [ROWS.encode()] * 2
    assert pieces[1].restart == Restart(14, ())


@given(size=st.integers(1, 400))
def test_pieces_are_the_same_in_blocks_of_any_size(size: int) -> None:
    log = NOTES + HEADER + ROWS + NOTES + HEADER + ROWS
    dialect = dialect_of(log)
    pieces = pieces_of(log, dialect, size)
    assert b"".join(piece.data for piece in pieces) == (ROWS + ROWS).encode()
    restarts = [(piece.restart, piece.first_line) for piece in pieces if piece.restart is not None]
    assert [(restart.line, line) for restart, line in restarts] == [(18, 20)]
    assert len(restarts[0][0].notes) == 2


def test_header_of_other_columns_is_refused_with_its_line() -> None:
    log = HEADER + ROWS + "time,boost\n" + ROWS
    with pytest.raises(LogRefusedError, match="in line 12 a header of other columns comes"):
        pieces_of(log, dialect_of(log))


def test_text_that_begins_like_the_header_is_no_header() -> None:
    log = "time,rpm,state\n" + "0.1,1,time\n" * 3 + "time,2,time\n" + "0.2,2,go\n" * 3
    assert len(pieces_of(log, dialect_of(log))) == 1


@pytest.mark.parametrize(
    ("first", "again", "seconds"),
    [
        ("Start,2026-05-16 14:00:00", "Start,2026-05-16 14:10:00", 600.0),
        ("Start,2026-05-16 23:59:00", "Start,2026-05-17 00:01:00", 120.0),
        ("Start,2026-05-16 14:00:00Z", "Start,2026-05-16 16:10:00+02:00", 600.0),
        ("Start,14:00:00", "Start,14:10:00", 600.0),
        ("Start,23:59:00", "Start,00:01:00", 120.0),
        ("Start,05/06/2026 14:00:00", "Start,05/06/2026 14:10:00", 600.0),
        ("Start,31/05/2026 23:59:00", "Start,01/06/2026 00:01:00", 120.0),
        ("Start,2026-05-16 14:00:00", "Start,14:10:00", None),
        ("Start,2026-05-16", "Start,2026-05-17", None),
        ("Unit,3", "Unit,3", None),
    ],
)
def test_notes_tell_how_much_later_a_logger_started_again(
    first: str, again: str, seconds: float | None
) -> None:
    log = f"{first}\n{HEADER}{ROWS}{again}\n{HEADER}{ROWS}"
    dialect = dialect_of(log)
    restart = pieces_of(log, dialect)[1].restart
    assert restart is not None
    assert shift_after(restart, dialect.notes, None, "a.csv") == seconds


def test_dates_of_starts_that_can_be_read_in_several_ways_are_refused() -> None:
    log = f"Start,05/06/2026 14:00:00\n{HEADER}{ROWS}Start,06/06/2026 14:00:00\n{HEADER}{ROWS}"
    dialect = dialect_of(log)
    restart = pieces_of(log, dialect)[1].restart
    assert restart is not None
    with pytest.raises(LogRefusedError, match="the date '05/06/2026' in line 1 may be"):
        shift_after(restart, dialect.notes, None, "a.csv")
    assert shift_after(restart, dialect.notes, "day-first", "a.csv") == 86_400.0


def test_problem_of_a_restart_without_a_clock_names_its_line() -> None:
    assert "restarted without a clock in line 18" in restarted(18)
