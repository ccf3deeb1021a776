"""babbitt report: a page in a file, of one engine or of all."""

from __future__ import annotations

from shop import LogWriter, Shop


def test_a_report_is_one_file_with_call_and_caution(shop: Shop, write_log: LogWriter) -> None:
    assert shop("ingest", write_log(), "--engine", "E1").status == 0
    to = shop.folder / "E1.html"
    done = shop("report", "E1", "-o", to, "--runs", "2", "--at", "2026-05-04")
    assert (done.status, done.err) == (0, "")
    page = to.read_text(encoding="utf-8")
    assert "<h1>E1 " in page
    assert "after 2 more runs" in page.replace("\N{NO-BREAK SPACE}", " ")
    assert "when in doubt, pull it" in page


def test_the_report_of_all_engines(shop: Shop) -> None:
    to = shop.folder / "engines.html"
    assert shop("report", "-o", to).status == 0
    assert "E1" in to.read_text(encoding="utf-8")


def test_what_cannot_be_told_or_written_is_refused_in_a_sentence(shop: Shop) -> None:
    refused = shop("report", "E9", "-o", shop.folder / "E9.html")
    assert refused.status == 1
    assert refused.err.startswith("babbitt: There is no engine 'E9'")
    assert not (shop.folder / "E9.html").exists()
    refused = shop("report", "-o", shop.folder / "nowhere" / "all.html")
    assert refused.status == 1
    assert refused.err.startswith("babbitt: Cannot write ")
    assert shop("report", "E1").status == 2
