"""TOML that is refused before it can keep anyone waiting, and TOML that is read."""

from __future__ import annotations

import pytest

from babbitt.model.toml_text import read_toml


def test_a_dotted_key_is_read() -> None:
    assert read_toml("over_rev.mechanical_rpm = 7500") == {"over_rev": {"mechanical_rpm": 7500}}


@pytest.mark.parametrize("inside", ["", "\u2028", "\u0085"], ids=ascii)
def test_a_line_ends_where_toml_ends_it(inside: str) -> None:
    """A quoted key may hold what Python takes for the end of a line, and no dot is missed by it."""
    half = ".".join(["a"] * 150)
    with pytest.raises(ValueError, match="line 1 has more than 200 dots"):
        read_toml(f'{half}."{inside}".{half} = 1')


@pytest.mark.parametrize("end", ["\n", "\r\n"], ids=ascii)
def test_lines_of_few_dots_are_as_many_as_they_are(end: str) -> None:
    text = end.join(f"a{i}.b = 0.5" for i in range(1000))
    assert len(read_toml(text)) == 1000
