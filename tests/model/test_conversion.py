"""What was done to a run's channels can be read back from the sentences that say it."""

from __future__ import annotations

import pytest

from babbitt.model.channels import channels
from babbitt.model.conversion import (
    ambient_taken,
    lateral_positive,
    lateral_sign,
    offset_taken,
    unit_changed,
    units_logged,
)
from babbitt.model.units import units_of


@pytest.mark.parametrize("channel", channels().values(), ids=lambda channel: channel.name)
def test_the_unit_of_the_log_is_read_back(channel):
    for unit in units_of(channel.unit.dimension):
        for basis in ("unit in the header", "unit given with --unit"):
            said = unit_changed(channel, unit.symbol, basis)
            assert units_logged([said]) == {channel.name: unit.symbol}


def test_other_sentences_name_no_unit():
    boost, lateral = channels()["boost"], channels()["lateral_g"]
    said = [
        ambient_taken(boost, 98.9, "its own reading before start-up"),
        offset_taken(boost, 12.0),
        lateral_sign(lateral, turned=True),
    ]
    assert units_logged(said) == {}
    assert lateral_positive(said) == "right"
    assert lateral_positive([lateral_sign(lateral, turned=False)]) == "left"
    assert lateral_positive([]) == "left"
