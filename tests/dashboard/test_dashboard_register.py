"""The Register page: its sections, its forms, and what they refuse."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from babbitt.errors import RegisterError
from babbitt.logbook.folder import create_logbook, settings_text
from babbitt.present.views.register import engine_builds, journal_of, part_life, part_lines
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.forms import Form, carry_out
from babbitt_dashboard.pages import register, register_engines, register_journal, register_parts
from dashboard_calls import text_of
from invented import SPEC

NOW = datetime(2026, 11, 1, tzinfo=UTC)


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    """A desk with one engine and two parts, one of them fitted."""
    book = create_logbook(tmp_path / "book", settings_text())
    made = Desk(book, lambda: NOW, "Ann")
    for form, given in (
        (register_engines.ADD_ENGINE, {"id": "E1", "built": "2026-01-01", "spec": SPEC}),
        (register_parts.ADD_PART, {"id": "CR-1", "kind": "crankshaft", "note": ""}),
        (register_parts.ADD_PART, {"id": "CR-2", "kind": "crankshaft", "note": "the spare"}),
        (register_parts.FIT, fit("CR-1", at="2026-01-02")),
    ):
        done, said = carry_out(made, form, given)
        assert done, said
    return made


def fit(part: str, *, at: str, replacing: str = "") -> dict[str, str]:
    return {
        "part": part,
        "engine": "E1",
        "position": "",
        "at": at,
        "replacing": replacing,
        "note": "",
    }


def said(desk: Desk, form: Form, **given: str) -> tuple[bool, str]:
    done, words = carry_out(desk, form, {field.name: "" for field in form.fields} | given)
    return done, words.children


@pytest.mark.parametrize("section", ["engines", "builds", "parts", "out", "journal", "nonsense"])
def test_every_section_is_shown_and_an_unknown_one_is_the_first(desk: Desk, section: str) -> None:
    shown = text_of(register.layout(desk, section=section))
    assert '"register-part"' in shown
    assert "E1" in shown or "out for work" in shown


@pytest.mark.parametrize("section", ["engines", "builds", "parts", "out", "journal"])
def test_an_empty_register_says_what_to_do(tmp_path: Path, section: str) -> None:
    book = create_logbook(tmp_path / "book", settings_text())
    empty = Desk(book, lambda: NOW, "Ann")
    shown = text_of(register.layout(empty, section=section))
    assert "yet" in shown or "out for work" in shown


def test_a_refresh_begins_a_build(desk: Desk) -> None:
    done, words = said(
        desk, register_engines.REFRESH, engine="E1", at="2026-06-01", note="new rings"
    )
    assert done
    assert words == "E1: refresh on 1 Jun 2026; totals count from then."
    assert [build.note for build in engine_builds(desk.book, "E1").builds] == ["new rings", ""]


def test_other_limits_are_put_in_force(desk: Desk) -> None:
    lower = SPEC.replace("redline_rpm = 7600", "redline_rpm = 7400")
    assert said(desk, register_engines.SET_LIMITS, engine="E1", spec=lower)[0]
    shown = text_of(register.layout(desk, section="engines", engine="E1"))
    assert "redline_rpm = 7400" in shown


def test_a_part_goes_in_comes_out_and_goes_to_a_shop_and_back(desk: Desk) -> None:
    assert said(desk, register_parts.REMOVE, part="CR-1", at="2026-03-01")[0]
    sent = {"part": "CR-1", "shop": "crank shop", "what": "polish", "due": "2026-03-20"}
    assert said(desk, register_parts.SEND_OUT, at="2026-03-02", **sent)[0]
    shown = text_of(register.layout(desk, section="out"))
    assert "20 Mar 2026, overdue" in shown
    assert said(
        desk, register_parts.TAKE_BACK, part="CR-1", at="2026-03-19", result="0.01 off"
    ) == (True, "CR-1 is back from crank shop: 0.01 off.")
    assert carry_out(desk, register_parts.FIT, fit("CR-2", at="2026-04-01"))[0]
    life = part_life(desk.book, "CR-1")
    assert [each.engine_id for each in life.fitments] == ["E1"]
    assert [each.result for each in life.work] == ["0.01 off"]
    where = {each.place.part.part_id: each.place.fitment for each in part_lines(desk.book)}
    assert where["CR-1"] is None
    assert where["CR-2"] is not None
    assert "0.01 off" in text_of(register.layout(desk, section="parts", part="CR-1"))


@pytest.mark.parametrize(
    ("form", "given", "words"),
    [
        (register_engines.ADD_ENGINE, {"id": "E1", "spec": SPEC}, "E1"),
        (register_engines.ADD_ENGINE, {"id": "E2"}, "Add an engine: fill in 'Its geometry"),
        (register_engines.ADD_ENGINE, {"id": "E2", "spec": "x ="}, "TOML"),
        (register_engines.REFRESH, {"engine": "E1", "at": "soon"}, "'soon' is no date or time"),
        (register_engines.REFRESH, {"engine": "E1", "at": "2027-06-01"}, "lies in the future"),
        (register_parts.FIT, {"part": "CR-2", "engine": "E1", "at": "2026-02-01"}, "CR-1"),
        (register_parts.REMOVE, {"part": "CR-2", "at": "2026-02-01"}, "CR-2"),
        (register_journal.MEND, {"record": "part", "key": "CR-1", "field": "x", "note": "n"},
         "'x' is no field of it (fields: kind, note)"),
        (register_journal.WITHDRAW, {"record": "refresh", "key": "one", "note": "n"},
         "'one' is not a number"),
        (register_journal.REDO, {}, "There is no undo to take back."),
    ],
)  # fmt: skip
def test_what_cannot_be_is_one_sentence_and_changes_nothing(
    desk: Desk, form: Form, given: dict[str, str], words: str
) -> None:
    before = journal_of(desk.book, desk.reader, limit=100).lines
    done, sentence = said(desk, form, **given)
    assert not done
    assert words.casefold() in sentence.casefold()
    assert journal_of(desk.book, desk.reader, limit=100).lines == before


def test_a_change_is_taken_back_done_again_mended_and_withdrawn(desk: Desk) -> None:
    newest = journal_of(desk.book, desk.reader, limit=1).lines[0].entry
    assert said(desk, register_journal.UNDO, entry=str(newest.entry_id), note="wrong")[0]
    assert part_lines(desk.book)[0].place.fitment is None
    assert said(desk, register_journal.REDO)[0]
    assert part_lines(desk.book)[0].place.fitment is not None
    mended = {"record": "part", "key": "CR-2", "field": "note", "value": "bent", "note": "seen"}
    assert said(desk, register_journal.MEND, **mended)[0]
    assert part_life(desk.book, "CR-2").part.note == "bent"
    gone = {"record": "part", "key": "CR-2", "note": "never was"}
    assert said(desk, register_journal.WITHDRAW, **gone)[0]
    with pytest.raises(RegisterError):
        part_life(desk.book, "CR-2")


def test_an_engine_is_withdrawn_and_brought_back(desk: Desk) -> None:
    assert said(desk, register_engines.ADD_ENGINE, id="E2", built="", spec=SPEC)[0]
    gone = {"record": "engine", "key": "E2", "note": "never was"}
    done, sentence = said(desk, register_journal.WITHDRAW, **gone)
    assert done, sentence
    assert "E2" not in text_of(register.layout(desk, section="engines"))
    newest = journal_of(desk.book, desk.reader, limit=1).lines[0].entry
    assert said(desk, register_journal.UNDO, entry=str(newest.entry_id), note="wrong")[0]
    assert "E2" in text_of(register.layout(desk, section="engines"))


def test_what_is_typed_stands_on_the_page_as_text(desk: Desk) -> None:
    note = "<img src=x onerror=alert(1)>"
    assert said(desk, register_parts.ADD_PART, id="X-1", kind="crankshaft", note=note)[0]
    shown = register.layout(replace(desk), section="parts", part="X-1")
    assert note in text_of(shown), "as text, which the browser never reads as tags"
