"""The report of one engine: its story since the refresh, and what its next runs may bring."""

from __future__ import annotations

from babbitt.outlook.call import Call
from babbitt.present.figures.ink import LIGHT
from babbitt.present.reports.report import Figure, Section, write_report
from babbitt.present.views import engine_words as words
from babbitt.present.views.engine_figures import (
    drift_figure,
    map_figure,
    pressure_figure,
    story_figure,
)
from babbitt.present.views.engine_prospect import Prospect
from babbitt.present.views.engine_story import Story
from babbitt.present.words import Reader

CALL_MARK: dict[Call, str] = {"run on": "○", "inspect": "◐", "pull": "●"}
"""The ring of a call, by its fill."""

SHARES_PX = 165
MAP_PX = 210
SMALL_PX = 190
"""Heights at which all of it fits on two pages."""


def engine_report(story: Story, prospect: Prospect, reader: Reader) -> str:
    """Return the report of an engine as one file of HTML; it prints on two pages.

    Args:
        story: since its refresh.
        prospect: of its next runs.
        reader: whose units and time zone are used.
    """
    call = prospect.outlook.verdict.call
    line = story_figure(story, prospect, reader=reader, ink=LIGHT, shares_px=SHARES_PX)
    line_words = words.time_line_in_words(story)
    run_words, pressure_words = words.table_in_words(story), words.pressure_in_words(story)
    pressure = pressure_figure(story, reader=reader, ink=LIGHT, height=SMALL_PX)
    running = map_figure(story, reader=reader, ink=LIGHT, height=MAP_PX)
    drift = drift_figure(story, ink=LIGHT, height=SMALL_PX)
    drift_words = words.drift_words(story, prospect, reader)
    sections = [
        Section(
            "",
            sentences=tuple(words.call_in_words(prospect, reader)),
            points=(
                ("What would change it", tuple(words.changes_in_words(prospect))),
                ("To keep in mind", tuple(words.gaps_in_words(prospect, reader))),
            ),
        ),
        Section(
            "Since the refresh",
            sentences=(words.since_in_words(story, reader), line_words),
            figures=(Figure(line, line_words),),
        ),
        Section(
            "What the next runs may bring",
            sentences=(*words.drawn_sentences(prospect), *words.ahead_sentences(prospect)),
            tables=(words.outlook_table(prospect),),
        ),
        Section(
            "What it has taken",
            tables=(words.totals_table(story, prospect, reader),),
            new_page=True,
        ),
        _drawn("How it was run", run_words, running),
        _drawn("Oil pressure", pressure_words, pressure, half=True),
        _drawn("Drift of oil pressure", drift_words, drift, half=True),
        Section("Parts", tables=(words.parts_table(story),)),
    ]
    title = f"{story.engine_id} {CALL_MARK[call]} {call}"
    return write_report(title, sections, at=story.at, reader=reader)


def _drawn(title: str, sentence: str, figure: object | None, *, half: bool = False) -> Section:
    figures = () if figure is None else (Figure(figure, sentence),)
    return Section(title, sentences=(sentence,), figures=figures, half=half)
