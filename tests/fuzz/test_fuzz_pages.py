"""The pages, asked what no browser asks."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pages import CALLBACKS, Pages, fuzz

import postgres
from babbitt.logbook.folder import Logbook
from babbitt.register.records import engines

COUNT = 8
ENGINES = ["E1", "E2", "E3"]
WORDS = ["\x00", "E1\x00", "\ud800", "' OR '1'='1", "'; DROP TABLE engine; --", "%", "%(x)s", ":x"]


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Pages:
    return Pages(tmp_path_factory.mktemp("pages"))


def test_no_request_makes_the_pages_fail(pages: Pages) -> None:
    ends = fuzz(pages, range(COUNT))
    assert ends["200"] > 0
    assert ends["404"] > 0
    assert ends["400"] > 0


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def pages_on(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Pages]:
    """The pages of a logbook of its own, on each database in turn."""
    folder = tmp_path_factory.mktemp("everywhere")
    if request.param == "sqlite":
        yield Pages(folder)
        return
    with postgres.server() as url:
        yield Pages(folder, url.render_as_string(hide_password=False))


@pytest.mark.parametrize("word", WORDS)
def test_a_word_that_no_database_keeps_or_that_reads_like_a_query_is_text_everywhere(
    pages_on: Pages, word: str
) -> None:
    before = pages_on.book.register.faults(), engines_of(pages_on.book)
    pages_on.ask_everywhere(word)
    assert (pages_on.book.register.faults(), engines_of(pages_on.book)) == before == ((), ENGINES)


def engines_of(book: Logbook) -> list[str]:
    with book.register.reading() as session:
        return [each.engine_id for each in engines.list_engines(session)]


def test_every_callback_is_reached(tmp_path: Path) -> None:
    pages = Pages(tmp_path)
    outputs = {each["output"] for each in pages.callbacks}
    known = {name for name, each in pages.app.callback_map.items() if "callback" in each}
    assert outputs >= known - {name for name in known if "_pages_dummy" in name}
    assert len(outputs) > 10


anything = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.text(max_size=10)),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(
            st.sampled_from(
                ["output", "outputs", "inputs", "state", "changedPropIds", "id", "property"]
            ),
            inner,
            max_size=5,
        ),
    ),
    max_leaves=12,
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(body=anything)
def test_any_json_is_answered(pages: Pages, body: object) -> None:
    answer = pages.client.post(CALLBACKS, json=body)
    assert answer.status_code < 500


@given(body=st.binary(max_size=60))
def test_any_bytes_are_answered(pages: Pages, body: bytes) -> None:
    answer = pages.client.post(CALLBACKS, data=body, content_type="application/json")
    assert 400 <= answer.status_code < 500
