"""A profile as text: it reads back as it was, and what a person must say is ready to fill in."""

from __future__ import annotations

import re
import tomllib

from hypothesis import given
from hypothesis import strategies as st

from babbitt.ingest.text.profile_text import profile_text
from babbitt.logbook.settings import Profile
from ingest_logs import csv_of, preview, ramp

WORDS = st.text(st.characters(codec="utf-8"), min_size=1)


def table_of(text: str, name: str) -> Profile:
    return Profile.model_validate(tomllib.loads(text)["profile"][name])


@given(
    name=WORDS,
    columns=st.dictionaries(WORDS, st.sampled_from(["oil_pressure", "time", "boost"])),
    ambient_kpa=st.none() | st.floats(50.0, 120.0, exclude_min=True, exclude_max=True),
    fingerprint=st.none() | st.just("0123456789abcdef"),
    lateral=st.sampled_from([None, "left", "right"]),
)
def test_a_profile_reads_back_as_it_was(
    name: str,
    columns: dict[str, str],
    ambient_kpa: float | None,
    fingerprint: str | None,
    lateral: str | None,
) -> None:
    profile = Profile.model_validate(
        {
            "columns": columns,
            "units": {"oil_pressure": "psi"},
            "ambient_kpa": ambient_kpa,
            "fingerprint": fingerprint,
            "lateral_positive": lateral,
            "timezone": "Europe/Paris",
            "dates": "day-first",
        }
    )
    assert table_of(profile_text(name, profile), name) == profile


def test_what_a_log_leaves_open_stands_there_as_a_comment() -> None:
    log = csv_of(["time", "rpm", 'Ch "8"', "coolant"], [(t, r, 5, 88) for t, r in ramp()])
    text = profile_text("club logger", Profile(), preview(log))
    assert table_of(text, "club logger") == Profile()
    assert '# coolant_temperature = "°C"  # or °F' in text
    assert '# "Ch \\"8\\"" = ""' in text


def test_comments_of_a_profile_are_ready_to_be_filled_in() -> None:
    log = csv_of(["time", "rpm", "Ch 7"], [(t, r, 60) for t, r in ramp()])
    text = profile_text("a", Profile(), preview(log))
    filled = re.sub("^# ", "", text.replace('= ""', '= "oil_pressure"'), flags=re.MULTILINE)
    profile = table_of(filled, "a")
    assert profile.lateral_positive == "left"
    assert profile.dates == "day-first"
    assert profile.columns == {"Ch 7": "oil_pressure"}
