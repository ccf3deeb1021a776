"""Every form of a log gives back what was written in it, or is refused in a sentence."""

from __future__ import annotations

import numpy as np
import pytest

from babbitt.errors import LogRefusedError
from babbitt.ingest.read import Instructions, read_log
from dialects.form import Form
from dialects.make import FOLDER, FORMS, USUAL, source_of

TAKEN = [form for form in FORMS if not form.refused]
REFUSED = [form for form in FORMS if form.refused]


@pytest.mark.parametrize("form", TAKEN, ids=lambda form: form.name)
def test_form_gives_back_what_was_written(form: Form) -> None:
    run = read_log(source_of(form), Instructions("NB-01", **form.given))
    np.testing.assert_allclose(run.time_s, form.time_s, atol=1e-6)
    for name, values in form.planted.items():
        np.testing.assert_allclose(run.signals[name].values, values, rtol=1e-6, err_msg=name)
    if form.started is not None:
        assert run.info.started_at == form.started
    assert form.warned in " ".join(run.info.warnings)


@pytest.mark.parametrize("form", TAKEN, ids=lambda form: form.name)
def test_form_warns_of_nothing_that_is_not_in_it(form: Form) -> None:
    run = read_log(source_of(form), Instructions("NB-01", **form.given))
    unexpected = [said for said in run.info.warnings if not said.startswith(USUAL)]
    said_twice = 2 * form.name.startswith("restarted") + (form.name == "whole_log_twice")
    assert len(unexpected) <= (form.warned != "") + said_twice


@pytest.mark.parametrize("form", REFUSED, ids=lambda form: form.name)
def test_form_that_leaves_a_question_is_refused(form: Form) -> None:
    with pytest.raises(LogRefusedError) as caught:
        read_log(source_of(form), Instructions("NB-01", **form.given))
    assert form.refused in str(caught.value)
    assert "\n" not in str(caught.value)


def test_logs_are_those_that_the_script_writes() -> None:
    assert {path.stem: path.read_bytes() for path in FOLDER.glob("*.csv")} == {
        form.name: form.data for form in FORMS
    }
