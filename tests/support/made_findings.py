"""Findings of every sort, made up for the tests of teardown."""

from __future__ import annotations

from hypothesis import strategies as st

from babbitt.model.damage_modes import parts
from babbitt.model.finding import Finding, Measurement
from babbitt.model.positions import TURBO_ENDS

_numbers = st.floats(-1e9, 1e9)
_letters = st.characters(exclude_categories=("Cc", "Cs"))
labels = st.text(_letters, min_size=1).filter(lambda text: text == text.strip())
notes = st.text(_letters | st.sampled_from("\n\r\t"))

_positions = {
    "cylinder": st.none() | st.integers(1, 16).map(str),
    "crankpin": st.none() | st.integers(1, 16).map(str),
    "main": st.none() | st.integers(1, 17).map(str),
    "bank": st.none() | st.sampled_from(("left", "right")),
    "turbo_end": st.none() | st.sampled_from(TURBO_ENDS),
    "none": st.none(),
}


@st.composite
def measurements(draw: st.DrawFn) -> Measurement:
    low, high = draw(st.none() | _numbers), draw(st.none() | _numbers)
    if low is not None and high is not None:
        low, high = sorted((low, high))
    return Measurement(draw(labels), draw(_numbers), draw(labels), low, high)


@st.composite
def findings(draw: st.DrawFn) -> Finding:
    part = draw(st.sampled_from(list(parts().values())))
    damage_mode = draw(st.none() | st.sampled_from(list(part.modes)))
    return Finding(
        part=part.name,
        position=draw(_positions[part.position]),
        damage_mode=damage_mode,
        grade=0 if damage_mode is None else draw(st.integers(0, 4)),
        measurement=draw(st.none() | measurements()),
        disposition=draw(st.sampled_from(("reuse", "rework", "replace", "send_out"))),
        note=draw(notes),
        photos=tuple(draw(st.lists(labels, max_size=3))),
    )
