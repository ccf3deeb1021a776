"""What the pages of teardowns read: counts, where to look, what was found and what it fits."""

from __future__ import annotations

import shutil
from datetime import UTC, timedelta
from zoneinfo import ZoneInfo

import pytest

from babbitt.damage.attribution import Match
from babbitt.damage.blame import Blame
from babbitt.damage.chance import Estimate
from babbitt.damage.model import UNLOGGED
from babbitt.errors import RegisterError
from babbitt.jobs.attribute import match_teardown
from babbitt.jobs.outlook import sheet_of
from babbitt.logbook.folder import Logbook, open_logbook
from babbitt.model.engine_layout import EngineLayout
from babbitt.model.finding import Measurement
from babbitt.model.part_records import BuiltMeasurement
from babbitt.present.reports.sheet_print import sheet_in_words
from babbitt.present.reports.teardown import teardown_report
from babbitt.present.views.foresight import Foreseen, Foresight
from babbitt.present.views.photos import photo_file
from babbitt.present.views.teardown import (
    measured_words,
    recorded_finding,
    recorded_teardown,
    sheet_view,
    stripped,
)
from babbitt.present.views.teardowns import TeardownLine, finding_words, teardown_list
from babbitt.present.words import Reader
from babbitt.register.records import builds
from engine_book import NOW, REFRESHED
from strip_book import APART, CLEARANCE, found, make_strip_book

READER = Reader("metric", UTC)
AT = APART.isoformat()


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Logbook:
    return make_strip_book(tmp_path_factory.mktemp("strip") / "book")


@pytest.fixture(scope="module")
def mended(book: Logbook, tmp_path_factory: pytest.TempPathFactory) -> Logbook:
    """The same with E1's build measured, and refreshed after the teardown."""
    folder = shutil.copytree(book.root, tmp_path_factory.mktemp("mended") / "book")
    copy = open_logbook(folder)
    with copy.register.writing("Ann") as session:
        refresh = builds.find_refresh(session, "E1", REFRESHED)
        built = BuiltMeasurement(Measurement("clearance", 0.052, "mm"), "rod_bearing", "2")
        builds.add_to_sheet(session, "E1", refresh.refresh_id, measurements=[built])
        builds.add_refresh(session, "E1", APART + timedelta(hours=2), "new bearings")
    return copy


@pytest.fixture(scope="module")
def foreseen(book: Logbook) -> Foreseen:
    return Foresight(book).at(NOW)


def test_a_teardown_is_told_in_one_line(book: Logbook, foreseen: Foreseen) -> None:
    (line,) = teardown_list(book, foreseen).lines
    assert line.teardown.at == APART
    assert line.counts == {0: 3, 1: 1, 2: 1, 3: 1}
    assert line.worst_words == "rod bearing 2 wiped"
    assert [match.finding.position for match in line.matches] == ["2", "4"]


def test_whether_the_log_explains_it_is_told_in_words(book: Logbook) -> None:
    def match(position: str, unlogged: float) -> Match:
        blames = (
            Blame("oil_starvation", Estimate(1.0 - unlogged, 0.0, 1.0), ()),
            Blame(UNLOGGED, Estimate(unlogged, 0.0, 1.0), ()),
        )
        return Match(1, found("rod_bearing", position, "wiped", 3), (), blames, 6, 1)

    def words(*matches: Match, unjudged: int = 0) -> str:
        teardown = recorded_teardown(book, "E1", AT)
        return TeardownLine(teardown, {}, None, matches, unjudged).explained

    assert words() == ""
    assert words(match("1", 0.2), match("2", 0.4)) == "2 of 2 by the log"
    assert (
        words(match("1", 0.2), match("2", 0.8), unjudged=1)
        == "1 of 3 by the log; look at the assembly: rod bearing 2; "
        "1 without a life dose in the spec"
    )


def test_engines_still_together_are_listed_with_what_they_ran(
    book: Logbook, foreseen: Foreseen
) -> None:
    listed = teardown_list(book, foreseen)
    assert [(each.engine_id, each.runs, each.running_s) for each in listed.intact] == [
        ("E2", 6, 6 * 3600.0),
        ("E3", 0, 0.0),
    ]
    assert listed.engines == ("E1", "E2", "E3")


def test_a_refresh_puts_an_engine_together_again(mended: Logbook) -> None:
    (first, *_) = teardown_list(mended, Foresight(mended).at(NOW)).intact
    assert (first.engine_id, first.runs) == ("E1", 0)


def test_a_recorded_teardown_reads_as_the_command_line_matches_it(
    book: Logbook, foreseen: Foreseen
) -> None:
    shown = stripped(book, recorded_teardown(book, "E1", AT), foreseen)
    expected = match_teardown(book, "E1")
    assert [each.to_json() for each in shown.match.matches] == [
        each.to_json() for each in expected.matches
    ]
    assert shown.match.look_again == expected.look_again
    assert shown.match.rpm_at == expected.rpm_at
    assert len(shown.findings) == 6


def test_the_sheet_of_today_reads_as_the_command_line_prints_it(
    book: Logbook, foreseen: Foreseen
) -> None:
    view = sheet_view(book, "E2", READER, foreseen=foreseen, before=None)
    assert view.words == sheet_in_words(*_sheet(book, "E2", NOW))
    assert view.bench.layout == EngineLayout("inline", 4)
    assert set(view.bench.spots) >= {("rod_bearing", "1"), ("head_gasket", "")}
    assert view.bench.likely < set(view.bench.spots)
    assert view.bench.teardowns == ()


def test_the_sheet_before_a_teardown_does_not_know_it(book: Logbook, foreseen: Foreseen) -> None:
    view = sheet_view(book, "E1", READER, foreseen=foreseen, before=APART)
    assert view.words == sheet_in_words(*_sheet(book, "E1", APART - timedelta(seconds=1)))
    assert "0 teardowns" in view.words["basis"]
    assert [each.at for each in view.bench.teardowns] == [APART]


def _sheet(book: Logbook, engine_id: str, at):
    sheet, rpm_at = sheet_of(book, engine_id, at=at)
    return sheet, READER, rpm_at


def test_a_measurement_stands_beside_the_same_one_as_built(
    mended: Logbook, foreseen: Foreseen
) -> None:
    shown = stripped(mended, recorded_teardown(mended, "E1", AT), foreseen)
    (number,) = shown.built
    measured = next(each for each in shown.findings if each.finding_id == number).finding
    assert measured.measurement == CLEARANCE
    assert (
        measured_words(CLEARANCE, shown.built[number])
        == "clearance 0.071 mm (outside limits 0.045 to 0.065, built 0.052)"
    )


@pytest.mark.parametrize(
    ("measurement", "words"),
    [
        (Measurement("diameter", 47.9945, "mm"), "diameter 47.9945 mm"),
        (Measurement("load", 820.0, "N", low=780.0), "load 820 N (at least 780)"),
        (Measurement("leakage", 9.0, "%", high=8.0), "leakage 9 % (outside at most 8)"),
    ],
)
def test_measurements_keep_every_digit(measurement: Measurement, words: str) -> None:
    assert measured_words(measurement, None) == words


def test_what_is_not_recorded_is_refused_in_a_sentence(book: Logbook) -> None:
    with pytest.raises(RegisterError, match="No teardown of E1"):
        recorded_teardown(book, "E1", NOW.isoformat())
    with pytest.raises(RegisterError, match="no engine"):
        recorded_teardown(book, "E9", AT)
    with pytest.raises(RegisterError, match="E2 has no finding 1"):
        recorded_finding(book, "E2", 1)


def test_findings_read_as_a_mechanic_says_them(book: Logbook) -> None:
    assert finding_words(recorded_finding(book, "E1", 1)) == "rod bearing 2 wiped"
    assert finding_words(recorded_finding(book, "E1", 2)) == "rod bearing 1 sound"


def test_only_photos_of_findings_are_handed_out(book: Logbook) -> None:
    (name,) = recorded_finding(book, "E1", 1).finding.photos
    photo, small = (photo_file(book, name, small=each) for each in (False, True))
    assert photo == book.photo_path(name)
    assert small == book.thumbnail_path(name)
    for other in (
        "../register.sqlite",
        name[:-4],
        "0" * 64 + ".jpg",
        book.thumbnail_path(name).name,
    ):
        assert photo_file(book, other, small=False) is None


def test_instants_of_addresses_may_name_a_zone_or_be_utc(book: Logbook) -> None:
    elsewhere = APART.astimezone(ZoneInfo("Asia/Tokyo"))
    unencoded = AT.replace("+", " ")
    for text in (elsewhere.isoformat(), f"{APART:%Y-%m-%dT%H:%M}", unencoded):
        assert recorded_teardown(book, "E1", text).at == APART
    with pytest.raises(RegisterError, match="'yesterday' is no date"):
        recorded_teardown(book, "E1", "yesterday")


def test_the_report_tells_all_that_the_page_tells(book: Logbook, foreseen: Foreseen) -> None:
    shown = stripped(book, recorded_teardown(book, "E1", AT), foreseen)
    page = teardown_report(shown, READER, at=NOW).replace("\N{NO-BREAK SPACE}", " ")
    assert "E1, taken apart on 19 Feb 2026" in page
    assert "Rod bearing 2: wiped, grade 3, replace" in page
    assert "clearance 0.071 mm (outside limits 0.045 to 0.065)" in page
    assert "Starved of oil in corners" in page
    assert "all apart" in page
    assert page.count("Head gasket") == 1
