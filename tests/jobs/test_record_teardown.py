"""Findings and photos go in together, or not at all; photos wait aside until then."""

from __future__ import annotations

import os
import time
from datetime import timedelta
from pathlib import Path

import pytest

from babbitt.errors import RegisterError
from babbitt.jobs.record_teardown import (
    add_findings,
    amend_finding,
    aside_in,
    record_findings,
    set_photo_aside,
    withdraw_finding,
)
from babbitt.logbook.folder import Logbook
from babbitt.register.records import teardowns
from engine_book import NOW, make_engine_book
from strip_book import found, jpeg

APART = NOW - timedelta(days=1)


@pytest.fixture
def book(tmp_path: Path) -> Logbook:
    return make_engine_book(tmp_path / "book")


def findings_of(book: Logbook):
    with book.register.reading() as session:
        return [each.finding for each in teardowns.findings_of(session, "E1")]


def record(book: Logbook, *findings, at=APART):
    return record_findings(
        book, "E1", findings, photos_in=aside_in(book), at=at, note="all apart", who="Ann"
    )


def test_photos_set_aside_come_to_lie_in_the_logbook_with_their_finding(book: Logbook) -> None:
    name, thumbnail = set_photo_aside(book, jpeg(), name="shell.jpg")
    assert thumbnail.startswith(b"\xff\xd8")
    record(book, found("rod_bearing", "2", "wiped", 3, photos=(name,)))
    ((kept,),) = [each.photos for each in findings_of(book)]
    assert book.photo_path(kept).is_file()
    assert book.thumbnail_path(kept).is_file()
    assert list(aside_in(book).iterdir()) == []


def test_findings_are_added_to_a_teardown_that_is_recorded(book: Logbook) -> None:
    teardown = record(book, found("rod_bearing", "2"))
    name, _ = set_photo_aside(book, jpeg("blue"), name="gasket.jpg")
    added = found("head_gasket", None, "leaking", 2, photos=(name,))
    add_findings(book, teardown.teardown_id, [added], photos_in=aside_in(book), who="Bob")
    first, second = findings_of(book)
    assert first.part == "rod_bearing"
    assert second.part == "head_gasket"
    assert book.photo_path(second.photos[0]).is_file()


def test_of_findings_that_contradict_nothing_is_kept(book: Logbook) -> None:
    name, _ = set_photo_aside(book, jpeg(), name="shell.jpg")
    with pytest.raises(RegisterError, match="already"):
        record(
            book,
            found("rod_bearing", "2", "wiped", 3, photos=(name,)),
            found("rod_bearing", "2", "wiped", 2),
        )
    assert findings_of(book) == []
    assert not (book.root / "photos").exists() or not any((book.root / "photos").rglob("*.jpg"))
    assert [each.name for each in aside_in(book).iterdir()] == [name]


def test_a_photo_that_is_gone_is_said(book: Logbook) -> None:
    with pytest.raises(RegisterError, match="cannot be read"):
        record(book, found("rod_bearing", "2", photos=("0" * 64 + ".jpg",)))


def test_what_is_no_photo_is_not_set_aside(book: Logbook) -> None:
    with pytest.raises(RegisterError, match="no JPEG or PNG"):
        set_photo_aside(book, b"GIF89a", name="shell.gif")
    assert not aside_in(book).exists()


def test_photos_that_nobody_recorded_go_after_a_season(book: Logbook) -> None:
    old, _ = set_photo_aside(book, jpeg(), name="old.jpg")
    then = time.time() - 91 * 86_400
    os.utime(aside_in(book) / old, (then, then))
    new, _ = set_photo_aside(book, jpeg("blue"), name="new.jpg")
    assert [each.name for each in aside_in(book).iterdir()] == [new]


def test_a_finding_is_corrected_and_withdrawn_with_a_reason(book: Logbook) -> None:
    record(book, found("rod_bearing", "2", "wiped", 3), found("rod", None))
    with book.register.reading() as session:
        first, second = teardowns.findings_of(session, "E1")
    mended = found("rod_bearing", "2", "worn", 2)
    amend_finding(
        book, first.finding_id, mended, seen=first.version, reason="looked again", who="Bob"
    )
    withdraw_finding(book, second.finding_id, seen=second.version, reason="wrong rod", who="Bob")
    assert findings_of(book) == [mended]
    with pytest.raises(RegisterError, match="Since you looked"):
        amend_finding(book, first.finding_id, mended, seen=first.version, reason="again", who="Bob")
