"""A report: one file that fetches nothing, runs nothing of a log's, and tells what pages tell."""

from __future__ import annotations

import base64
import hashlib
import html
import json
import re
from datetime import UTC
from html.parser import HTMLParser

import plotly.graph_objects as go
import pytest

from babbitt.logbook.folder import Logbook
from babbitt.present.reports.engine import engine_report
from babbitt.present.reports.fleet import fleet_report
from babbitt.present.reports.report import Figure, Section, write_report
from babbitt.present.views.engine_prospect import prospect
from babbitt.present.views.engine_story import engine_story
from babbitt.present.views.fleet import fleet
from babbitt.present.views.foresight import Foresight
from babbitt.present.views.text_table import TextTable
from babbitt.present.words import CAUTION, Reader
from babbitt.register.records import builds
from engine_book import NOW

READER = Reader("metric", UTC)
EVIL = '</script><script>alert("x")</script>'


class Parts(HTMLParser):
    """The scripts and the tags of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.scripts: list[tuple[dict[str, str | None], str]] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag == "script":
            self.scripts.append((dict(attrs), ""))

    def handle_data(self, data: str) -> None:
        if self.tags and self.tags[-1][0] == "script":
            about, text = self.scripts[-1]
            self.scripts[-1] = about, text + data

    def handle_endtag(self, tag: str) -> None:
        self.tags.append((f"/{tag}", {}))


def text_of(page: str) -> str:
    """The page with its entities read, and with plain spaces."""
    return html.unescape(page).replace("\N{NO-BREAK SPACE}", " ")


def a_report(*sections: Section) -> str:
    return write_report(EVIL, sections, at=NOW, reader=READER)


def drawn() -> Figure:
    return Figure(go.Figure(go.Scatter(x=[1, 2], y=[3, 4], text=[EVIL, "b"])), EVIL)


def test_what_stands_in_records_is_text_and_never_runs() -> None:
    table = TextTable((EVIL,), ((EVIL,),), caption=EVIL)
    page = a_report(
        Section(EVIL, sentences=(EVIL,), points=((EVIL, (EVIL,)),), tables=(table,)),
        Section("drawn", figures=(drawn(),)),
    )
    parts = Parts(page)
    data, library, draw = parts.scripts
    assert data[0] == {"type": "application/json"}
    assert json.loads(data[1])["data"][0]["text"] == [EVIL, "b"]
    assert "alert" not in library[1][:1000]
    assert "Plotly.newPlot" in draw[1]


def test_its_policy_lets_only_its_own_two_scripts_run_and_fetches_nothing() -> None:
    page = a_report(Section("drawn", figures=(drawn(),)))
    (policy,) = re.findall(r'http-equiv="Content-Security-Policy" content="([^"]+)"', page)
    _, *ours = Parts(page).scripts
    assert policy.startswith("default-src &#39;none&#39;;")
    for _, text in ours:
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"sha256-{digest}" in policy
    assert policy.count("sha256-") == 2
    fetched = [
        about
        for tag, about in Parts(page).tags
        if tag in ("link", "img", "iframe") or "src" in about
    ]
    assert fetched == []


def test_without_figures_it_brings_no_script_at_all() -> None:
    page = a_report(Section("", sentences=("All is well.",)))
    assert Parts(page).scripts == []
    assert len(page) < 10_000
    assert CAUTION in text_of(page)


def test_a_table_without_rows_says_why() -> None:
    page = a_report(Section("", tables=(TextTable(("a",), (), empty="Nothing yet."),)))
    assert "Nothing yet." in page
    assert "<table" not in page


def test_the_report_of_an_engine_tells_call_reasons_figures_and_tables(
    engine_book: Logbook,
) -> None:
    foreseen = Foresight(engine_book).at(NOW)
    story = engine_story(engine_book, foreseen, "E1")
    page = engine_report(story, prospect(engine_book, foreseen, "E1", 2), READER)
    assert "<h1>E1 ● pull</h1>" in page
    assert page.count('class="drawn"') == 4
    for words in ("Since the refresh", "What the next runs may bring", "Parts", "RB-1 to RB-4"):
        assert words in text_of(page)
    assert "What would change it" in page
    assert CAUTION in text_of(page)


def test_the_note_of_a_refresh_is_text_in_the_report(engine_book: Logbook) -> None:
    with engine_book.register.writing("Ann") as session:
        builds.add_refresh(session, "E2", NOW, EVIL)
    foreseen = Foresight(engine_book).at(NOW)
    story = engine_story(engine_book, foreseen, "E2")
    page = engine_report(story, prospect(engine_book, foreseen, "E2", 1), READER)
    assert EVIL not in page
    assert "alert(" in page


@pytest.mark.parametrize("engine_id", ["E2", "E3"])
def test_what_is_not_known_leaves_its_figure_out(engine_book: Logbook, engine_id: str) -> None:
    foreseen = Foresight(engine_book).at(NOW)
    story = engine_story(engine_book, foreseen, engine_id)
    page = engine_report(story, prospect(engine_book, foreseen, engine_id, 1), READER)
    assert page.count('class="drawn"') == (2 if engine_id == "E2" else 1)
    assert "What oil pressure to expect is not known yet" in page


def test_the_report_of_all_engines_has_a_row_for_each(engine_book: Logbook) -> None:
    page = fleet_report(fleet(Foresight(engine_book).at(NOW), runs=1), READER, at=NOW, refused=2)
    assert page.index("● pull") < page.index("◐ inspect") < page.index("○ run on")
    assert "Pull E1." in page
    assert "48 % + 8 %" in text_of(page)
    assert "4 runs since 12 Feb 2026, 2 logs refused." in text_of(page)
    assert CAUTION in text_of(page)
