"""babbitt report: every page of the dashboard in a file."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from shop import LogWriter, Shop

FINDINGS = """
[[finding]]
part = "rod_bearing"
position = "2"
damage_mode = "wiped"
grade = 3
disposition = "replace"
"""


@pytest.fixture
def ran(shop: Shop, write_log: LogWriter) -> Shop:
    """A shop whose engine ran for a minute, with one over-rev."""
    assert shop("ingest", write_log(), "--engine", "E1").status == 0
    return shop


def words_of(shop: Shop, *asked: object) -> str:
    """Write a report, and return what it says."""
    to = shop.folder / "page.html"
    done = shop("report", *asked, "-o", to)
    assert (done.status, done.err) == (0, "")
    page = to.read_text(encoding="utf-8")
    told = re.sub(r"<script.*?</script>|<style.*?</style>|<[^>]+>", " ", page, flags=re.S)
    return " ".join(told.split())


def test_a_report_is_one_file_with_call_and_caution(ran: Shop) -> None:
    page = words_of(ran, "E1", "--runs", "2", "--at", "2026-05-04")
    assert "after 2 more runs" in page
    assert "when in doubt, pull it" in page


def test_the_report_of_all_engines_counts_the_logs_that_were_refused(
    ran: Shop, tmp_path: Path
) -> None:
    notes = tmp_path / "notes.txt"
    notes.write_text("front left 1.9 bar\n", encoding="utf-8")
    assert ran("ingest", notes, "--engine", "E1").status == 1
    assert "1 run since 3 May 2026, 1 log refused." in words_of(ran)
    assert "refused" not in words_of(ran, "--at", "2026-05-04"), "it was refused later"


def test_the_report_of_a_run_and_of_one_of_its_events(ran: Shop) -> None:
    (event,) = ran("events", "--json").json
    whole = words_of(ran, "--run", event["run_id"][:9])
    assert "E1, 3 May 2026 10:00" in whole
    assert "From 0:" not in whole
    assert "From 0:10.0 to 0:20.0" in words_of(ran, "--run", event["run_id"], "--window", 10, 20)
    alone = words_of(ran, "--event", event["event_id"][:9])
    assert "From 0:27" in alone
    assert "8,000 rpm" in alone
    assert "From 0:25.0 to 0:35.0" in words_of(
        ran, "--event", event["event_id"], "--window", 25, 35
    )


def test_the_report_of_a_teardown(ran: Shop) -> None:
    findings = ran.folder / "findings.toml"
    findings.write_text(FINDINGS, encoding="utf-8")
    for day in ("2026-05-10", "2026-05-20"):
        done = ran("teardown", "record", "E1", "--at", day, "--findings", findings)
        assert done.status == 0, done.err
    assert "E1, taken apart on 20 May 2026" in words_of(ran, "E1", "--teardown")
    before = words_of(ran, "E1", "--teardown", "--at", "2026-05-15")
    assert "E1, taken apart on 10 May 2026" in before
    none = ran("report", "E1", "--teardown", "--at", "2026-05-05", "-o", ran.folder / "x.html")
    assert (none.status, "No teardown of E1" in none.err) == (1, True)
    unknown = ran("report", "E9", "--teardown", "-o", ran.folder / "x.html")
    assert (unknown.status, "There is no engine 'E9'" in unknown.err) == (1, True)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (("--list", "runs"), "3 May 2026 10:00 E1"),
        (("E1", "--list", "runs", "--until", "2026-05-02"), "No run fits this filter."),
        (("--list", "runs", "--since", "2026-05-03", "--only", "harm"), "3 May 2026 10:00 E1"),
        (("--list", "runs", "--circuit", "Nowhere"), "No run fits this filter."),
        (("--list", "teardowns"), "No engine came apart yet."),
        (("--list", "logs"), "Sensors of E1"),
        (("--list", "register"), "Journal"),
    ],
)
def test_the_report_of_a_list(ran: Shop, asked: tuple[str, ...], said: str) -> None:
    assert said in words_of(ran, *asked)


def test_what_cannot_be_told_or_written_is_refused_in_a_sentence(shop: Shop) -> None:
    refused = shop("report", "E9", "-o", shop.folder / "E9.html")
    assert refused.status == 1
    assert refused.err.startswith("babbitt: There is no engine 'E9'")
    assert not (shop.folder / "E9.html").exists()
    elsewhere = shop("report", "E1", "--circuit", "Nowhere", "-o", shop.folder / "E1.html")
    assert (elsewhere.status, "Nowhere" in elsewhere.err) == (1, True)
    refused = shop("report", "-o", shop.folder / "nowhere" / "all.html")
    assert refused.status == 1
    assert refused.err.startswith("babbitt: Cannot write ")
    assert shop("report", "E1").status == 2


@pytest.mark.parametrize(
    ("asked", "why"),
    [
        (("--run", "a", "--list", "runs"), "--run and --list are pages of their own: name one"),
        (("--teardown",), "--teardown needs the ENGINE_ID that came apart"),
        (("E1", "--run", "a"), "ENGINE_ID means nothing for the page 'run': leave it out"),
        (("E1", "--only", "harm"), "--only means nothing for the page 'engine': leave it out"),
        (
            ("--list", "register", "--at", "2026-05-04"),
            "--at means nothing for the page 'register'",
        ),
        (("--list", "nonsense"), "'nonsense' is not one of"),
        (("--list", "runs", "--since", "May"), "does not match the format"),
    ],
)
def test_bad_usage_is_one_sentence(shop: Shop, asked: tuple[str, ...], why: str) -> None:
    done = shop("report", *asked, "-o", shop.folder / "x.html")
    assert done.status == 2
    assert why in " ".join(done.err.replace("│", " ").split())
    assert not (shop.folder / "x.html").exists()
