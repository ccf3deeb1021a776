import pytest
from hypothesis import given
from hypothesis import strategies as st

from babbitt.model.event import VERDICTS
from babbitt.model.kinds import KINDS
from babbitt.register.records.reviews import Reviewed, Span, holding


def span(event_id, start_s, end_s, kind="over_rev"):
    return Span(event_id, kind, start_s, end_s)


def test_an_events_own_review_holds_wherever_it_lies_now():
    reviewed = Reviewed(span("a", 0, 1), "harmless")
    assert holding([span("a", 500, 600)], [reviewed]) == {"a": "harmless"}


def test_the_newest_review_of_an_event_holds():
    reviews = [Reviewed(span("a", 0, 1), verdict) for verdict in VERDICTS]
    assert holding([span("a", 0, 1)], reviews) == {"a": VERDICTS[-1]}


def test_both_pieces_of_a_split_event_keep_its_review():
    reviewed = Reviewed(span("a", 0, 10), "sensor_fault")
    found = [span("a", 1, 3), span("b", 6, 9)]
    assert holding(found, [reviewed]) == {"a": "sensor_fault", "b": "sensor_fault"}


def test_a_word_on_a_blip_does_not_cover_a_long_event_that_swallowed_it():
    reviewed = Reviewed(span("a", 4, 5), "harmless")
    assert holding([span("b", 0, 10)], [reviewed]) == {}


def test_the_review_that_covers_most_holds():
    reviews = [
        Reviewed(span("a", 0, 6), "harmless"),
        Reviewed(span("b", 6, 9), "confirmed"),
    ]
    assert holding([span("c", 0, 10)], reviews) == {"c": "harmless"}


def test_of_two_that_cover_as_much_the_newest_holds():
    first, second = span("a", 0, 10), span("b", 0, 10)
    reviews = [Reviewed(first, "harmless"), Reviewed(second, "confirmed")]
    assert holding([span("c", 0, 10)], reviews) == {"c": "confirmed"}
    again = [*reviews, Reviewed(first, "sensor_fault")]
    assert holding([span("c", 0, 10)], again) == {"c": "sensor_fault"}


def test_a_review_is_of_one_kind_only():
    reviewed = Reviewed(span("a", 0, 10), "harmless")
    assert holding([span("b", 0, 10, kind="overboost")], [reviewed]) == {}


@pytest.mark.parametrize("end_s", [0, 10])
def test_a_stretch_that_only_touches_keeps_no_review(end_s):
    reviewed = Reviewed(span("a", 10, 20), "harmless")
    assert holding([span("b", 0, end_s)], [reviewed]) == {}


spans = st.builds(
    lambda event_id, kind, start_s, length_s: Span(event_id, kind, start_s, start_s + length_s),
    st.sampled_from("abcdef"),
    st.sampled_from(list(KINDS)[:2]),
    st.integers(0, 20),
    st.integers(0, 10),
)
reviewed = st.builds(Reviewed, spans, st.sampled_from(VERDICTS))


@given(st.lists(spans, unique_by=lambda s: s.event_id), st.lists(reviewed))
def test_every_review_that_holds_was_given_to_that_event_or_that_stretch(found, reviews):
    verdicts = holding(found, reviews)
    for each in found:
        own = [r.verdict for r in reviews if r.span.event_id == each.event_id]
        if own:
            assert verdicts[each.event_id] == own[-1]
        elif each.event_id in verdicts:
            assert any(
                r.verdict == verdicts[each.event_id]
                and r.span.kind == each.kind
                and r.span.start_s < each.end_s
                and each.start_s < r.span.end_s
                for r in reviews
            )
