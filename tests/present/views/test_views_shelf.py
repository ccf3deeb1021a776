"""Runs on the shelf: what is drawn of them, and what is put away."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from babbitt.detect.pressure import PressureSurface
from babbitt.errors import LogbookError
from babbitt.logbook.folder import Logbook
from babbitt.model.engine_spec import parse_spec
from babbitt.present.views.shelf import EXPECTED, RunShelf
from run_book import FIRST, SECOND, TOML, a_run, make_run_book

SPEC = parse_spec(TOML, source="test")
CHANNELS = ("rpm", "oil_pressure", "oil_temperature")


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Logbook:
    return make_run_book(tmp_path_factory.mktemp("shelf") / "book")


def take(shelf: RunShelf, run_id: str = FIRST, channels=CHANNELS, surface=None):
    return shelf.take("E1", run_id, channels, spec=SPEC, surface=surface)


def test_bad_samples_are_no_part_of_the_line_but_of_the_dots(book: Logbook) -> None:
    rpm = take(RunShelf(book)).traces["rpm"]
    assert rpm.high == 7900.0
    np.testing.assert_array_equal(rpm.flagged_values, [13_000.0])
    assert np.isnan(rpm.values[rpm.flagged]).all()


def test_a_line_has_holes_where_the_log_or_the_sensor_has_a_gap(book: Logbook) -> None:
    run = take(RunShelf(book))
    np.testing.assert_allclose(run.traces["rpm"].holes_s, [[49.98, 55.0]])
    np.testing.assert_allclose(run.traces["oil_temperature"].holes_s, [[9.98, 11.0], [49.98, 55.0]])


def test_expected_pressure_is_the_floor_line_until_a_surface_is_learned(book: Logbook) -> None:
    shelf = RunShelf(book)
    assert take(shelf).traces[EXPECTED].values[0] == pytest.approx(69.0 * 5.0)
    flat = np.full((2, 2), 420.0)
    surface = PressureSurface(np.array([1e3, 9e3]), np.array([20.0, 120.0]), flat, (FIRST,))
    assert take(shelf, surface=surface).traces[EXPECTED].values[0] == pytest.approx(420.0)
    assert take(shelf).traces[EXPECTED].values[0] == pytest.approx(345.0)


def test_a_run_without_oil_pressure_has_no_expected_one(book: Logbook) -> None:
    assert EXPECTED not in take(RunShelf(book), channels=("rpm",)).traces


def test_channels_are_added_to_those_read_before(book: Logbook, monkeypatch) -> None:
    shelf = RunShelf(book)
    take(shelf)
    asked = []
    read = type(book).read_run
    monkeypatch.setattr(
        type(book), "read_run", lambda *args: asked.append(tuple(args[3])) or read(*args)
    )
    assert set(take(shelf).traces) == {*CHANNELS, EXPECTED}
    assert asked == []
    assert "boost" in take(shelf, channels=("rpm", "boost")).traces
    assert asked == [("boost",)]


def test_runs_looked_at_longest_ago_are_put_away(book: Logbook) -> None:
    shelf = RunShelf(book, most_bytes=1)
    first = take(shelf)
    assert take(shelf) is first
    take(shelf, SECOND)
    assert take(shelf) is not first


def test_a_run_written_anew_is_read_anew(tmp_path: Path) -> None:
    from run_files import write_run

    book = make_run_book(tmp_path / "book")
    shelf = RunShelf(book)
    before = take(shelf)
    run = a_run()
    run.signals["rpm"].values[:] = 1234.0
    write_run(run, (book.root / book.run_name("E1", FIRST)))
    assert take(shelf).traces["rpm"].low == 1234.0
    assert before.traces["rpm"].low == 5000.0


def test_a_missing_file_is_told_in_a_sentence(tmp_path: Path) -> None:
    book = make_run_book(tmp_path / "book")
    (book.root / book.run_name("E1", FIRST)).unlink()
    with pytest.raises(LogbookError, match="is missing"):
        take(RunShelf(book))
