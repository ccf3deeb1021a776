from babbitt.ingest.text.wording import listed, shown, tidy


def test_text_of_a_log_is_tidied_to_one_short_line() -> None:
    assert tidy(" Oil\n\tPress\u200b ") == "Oil Press"
    assert len(tidy("x" * 10_000)) < 100


def test_text_is_shown_in_quotes_and_cut_off() -> None:
    assert shown("a\nb") == r"'a\nb'"
    assert len(shown("x" * 10_000)) < 100


def test_many_texts_are_listed_in_part() -> None:
    assert listed(["a", "b"]) == "'a', 'b'"
    assert listed([str(i) for i in range(300)]).endswith("'11' and 288 more")
