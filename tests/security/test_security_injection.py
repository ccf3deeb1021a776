"""What people and loggers write stays text: in pages, reports, tables, terminals and queries."""

from __future__ import annotations

import csv
import html.parser
import io
import json
import os
import re
import shutil
from pathlib import Path
from typing import Any

import flask.testing
import pytest
from dash import Dash

from babbitt.commands.common import _Console
from babbitt.exchange.export import export
from babbitt.exchange.files import as_written
from babbitt.jobs.record_teardown import aside_in, record_findings
from babbitt.logbook.folder import Logbook, open_logbook
from babbitt.model.plain_text import visible
from babbitt.register.records import builds, engines, events, parts, work
from babbitt_dashboard.app import make_app
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.forms import Form, carry_out
from babbitt_dashboard.guard import add_guard
from babbitt_dashboard.pages import register_engines, register_journal, register_parts
from bounded import bounded, command
from dashboard_calls import call
from engine_book import NOW
from exchange_books import take_in, write_log
from invented import SPEC
from strip_book import APART, found

SCRIPT = "<script>alert(1)</script><img src=x onerror=alert(2)>\"'`&{{7*7}}</script>"
MARKS = "](javascript:alert(3)) [x](javascript:alert(4)) <b>bold</b> **x**"
FORMULAS = ["=1+1", "+1+1", "-1+cmd|'/C calc'!A0", "@SUM(A1)", "\t=1", "\r=1", "＝1+1", "'=1"]
NUMBERS = ["-1", "+2.5", "-1e3", "1.5", "-.5"]
QUOTES = [
    "'; DROP TABLE engine; --",
    '"; DELETE FROM run; --',
    "' OR '1'='1",
    "%' OR 1=1 --",
    "E1'--",
    "\\'; --",
    "%",
    "_",
    "1; PRAGMA writable_schema=1",
    "{fn now()}",
    ":name",
    "?",
    "%(x)s",
    "/* */",
    "\N{RIGHT SINGLE QUOTATION MARK}; --",
]


FORMS = [*register_engines.FORMS, *register_parts.FORMS, *register_journal.FORMS]
SOUND = {
    "engine": "E2",
    "part": "RB-1",
    "record": "part",
    "key": "RB-1",
    "field": "note",
    "id": "P9",
    "kind": "piston_pin",
    "position": "1",
    "at": "2026-02-19",
    "value": "worn",
    "shop": "a grinder",
    "what": "a look",
    "result": "sound",
    "note": "why",
    "spec": SPEC,
}
"""What a form can be filled in with, by field."""


@pytest.fixture(scope="module")
def written(made_strip_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Dash:
    """The pages of a logbook with a script in whatever a person or a logger may write."""
    tmp_path = tmp_path_factory.mktemp("written")
    book = open_logbook(shutil.copytree(made_strip_book, tmp_path / "book"))
    at = APART.replace(hour=1)
    with book.register.writing(SCRIPT) as session:
        parts.add_part(session, f"P{MARKS[:50]}", "rod_bearing", note=SCRIPT)
        parts.add_part(session, SCRIPT[:60], "piston_pin", note=MARKS)
        work.send_out(session, SCRIPT[:60], since=at, shop=SCRIPT, what=SCRIPT)
        engines.set_spec(session, "E2", SPEC, source=SCRIPT, reason=SCRIPT)
        builds.add_refresh(session, "E3", at, SCRIPT)
        first = events.list_events(session, engine_id="E1")[0].event
        events.add_review(session, first.event_id, "confirmed", SCRIPT)
    record_findings(
        book,
        "E1",
        [found("piston_pin", "1", "bent", 2, note=SCRIPT)],
        photos_in=aside_in(book),
        at=at,
        note=SCRIPT,
        earlier_build=True,
        who=SCRIPT,
    )
    log = write_log(tmp_path, "plain.csv", "2026-03-03T10:00:00Z")
    lines = log.read_text("utf-8").splitlines()
    lines[0] = f"Start,2026-03-03T10:00:00Z\nDriver,{SCRIPT}\nVenue,{SCRIPT[:40]}\n=1+1,@x"
    lines[1] += f",{SCRIPT[:25]},=cmd,{MARKS[:20]}"
    lines[2:] = [f"{line},1,2,3" for line in lines[2:]]
    odd = tmp_path / f"{SCRIPT.split('/')[0]} =1.csv"
    odd.write_text("\n".join(lines) + "\n", "utf-8")
    os.utime(odd, (1_780_000_000, 1_780_000_000))
    take_in(book, odd, "E2")
    app = make_app(Desk(book, lambda: NOW, "Bob"))
    add_guard(app, password_hash=None)
    return app


PAGES = [
    ("/", ""),
    ("/runs", ""),
    ("/teardowns", ""),
    ("/logs", ""),
    ("/engine/E1", ""),
    ("/engine/E2", ""),
    ("/teardown/E1", ""),
    ("/teardown/E2", "?view=table"),
    *(("/register", f"?section={name}") for name in ("engines", "parts", "work", "journal")),
]
REPORTS = [
    "/report/engines.html",
    "/report/engine/E1.html",
    "/report/engine/E2.html",
    f"/report/teardown/E1.html?at={APART.replace(hour=1):%FT%T}",
    "/report/runs.html",
    "/report/teardowns.html",
    "/report/logs.html",
    "/report/register.html",
]


class Tags(html.parser.HTMLParser):
    """Gathers the tags of a page, and the attributes that run scripts."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))


def components(content: Any) -> list[dict[str, Any]]:
    """Every component that an answer draws."""
    if isinstance(content, dict):
        inner = [each for value in content.values() for each in components(value)]
        return [content, *inner] if {"type", "props", "namespace"} <= content.keys() else inner
    if isinstance(content, list):
        return [each for value in content for each in components(value)]
    return []


@pytest.mark.parametrize(("path", "search"), PAGES)
def test_no_page_draws_what_was_written_as_more_than_text(
    written: Dash, path: str, search: str
) -> None:
    drawn = components(call(written, path, search))
    assert len(drawn) > 10
    for each in drawn:
        assert each["type"] not in ("Markdown", "Iframe", "Script", "DangerouslySetInnerHTML")
        for name, value in each["props"].items():
            if name in ("href", "src") and isinstance(value, str):
                assert value.startswith(("/", "#", "data:image/")), value
            if name == "dangerously_allow_code":
                assert not value


def test_parts_are_links_of_their_own_in_the_table(written: Dash) -> None:
    drawn = components(call(written, "/register", "?section=parts"))
    (grid,) = (each for each in drawn if "AgGrid" in each["type"])
    cells = [row["part"] for row in grid["props"]["rowData"]]
    assert any("javascript" in cell for cell in cells)
    for cell in cells:
        shown, _, place = cell.rpartition("](")
        assert place.startswith("/register?section=parts&part=")
        assert not set(place[:-1]) & set("()[]<> ")
        bare = shown[1:].replace("\\\\", "")
        assert all(bare[at - 1] == "\\" for at, sign in enumerate(bare) if sign in "[]()<>*_`!")


@pytest.mark.parametrize("path", REPORTS)
def test_no_report_runs_what_was_written(written: Dash, path: str) -> None:
    answer = written.server.test_client().get(path)
    assert answer.status_code == 200
    tags = Tags()
    tags.feed(answer.text)
    names = [name for name, _ in tags.found]
    assert "img" not in names
    assert names.count("body") == 1
    for name, attributes in tags.found:
        assert not [each for each in attributes if each.startswith("on")], name
        assert not str(attributes.get("href", "")).startswith("javascript")
    assert "alert(1)</script>" not in answer.text
    assert "49" not in answer.text.partition("<main>")[2].partition("{{7*7}}")[1]
    policy = answer.text.partition('Content-Security-Policy" content="')[2].partition('"')[0]
    assert "unsafe-inline" not in policy.partition("script-src")[2].partition(";")[0]


def test_a_run_shows_its_names_and_channels_as_text(written: Dash) -> None:
    client = written.server.test_client()
    drawn = json.dumps(call(written, "/runs", "?engine=E2"))
    run_id = next(name for name in re.findall(r"/run/([^\"?]+)", drawn) if name[:3] != "E2-")
    answer = client.get(f"/report/run/{run_id}.html")
    assert answer.status_code == 200
    assert "alert(1)" in answer.text
    assert "<script>alert" not in answer.text
    assert len(components(call(written, f"/run/{run_id}", ""))) > 10


@pytest.mark.parametrize("text", [*FORMULAS, *NUMBERS, SCRIPT])
def test_no_table_that_leaves_holds_a_formula_and_numbers_stay_numbers(
    book: Logbook, tmp_path: Path, app: Dash, text: str
) -> None:
    with book.register.writing("=who") as session:
        parts.add_part(session, "P1", "piston_pin", note=text)
        first = events.list_events(session, engine_id="E1")[0].event
        events.add_review(session, first.event_id, "confirmed", text)
    export(book, tmp_path / "out", format="csv")
    add_guard(app, password_hash=None)
    client = app.server.test_client()
    tables = [path.read_bytes().decode() for path in (tmp_path / "out").glob("*.csv")]
    tables += [client.get(f"/csv/{name}.csv").text for name in ("events", "totals")]
    assert len(tables) > 10
    seen = set()
    for table in tables:
        for row in csv.reader(io.StringIO(table, newline="")):
            for cell in row:
                seen.add(as_written(cell))
                assert not cell.startswith(("=", "@", "\t", "\r", "＝")), cell
                if cell.startswith(("+", "-")):
                    float(cell)
    assert text in seen
    assert text not in NUMBERS or any(text in row.split(",") for row in "".join(tables).split())


def test_the_list_of_refused_logs_holds_no_formula(book: Logbook, tmp_path: Path) -> None:
    folder = tmp_path / "logs"
    folder.mkdir()
    for n, name in enumerate(("=1+1.csv", "@x.csv", "-1.csv")):
        (folder / name).write_text("nothing\n" * (n + 1), "utf-8")
        os.utime(folder / name, (1_780_000_000, 1_780_000_000))
    words = ["ingest", ".", "--engine", "E2", "--report", "../refused.csv"]
    done = bounded(in_folder, folder, ["--logbook", book.root, *words])
    assert done.value[0] == 1
    with (tmp_path / "refused.csv").open(encoding="utf-8", newline="") as file:
        cells = [cell for row in csv.reader(file) for cell in row]
    assert not [cell for cell in cells if cell.startswith(("=", "@", "-", "+"))]


def in_folder(folder: Path, words: list[object]) -> tuple[int, str, str]:
    os.chdir(folder)
    return command(*words)


def test_signs_that_work_on_a_terminal_are_written_out(tmp_path: Path) -> None:
    assert visible("a\x1b[2J\x07\u202eb\ud800") == "a\\x1b[2J\\x07\\u202eb\\ud800"
    assert visible("Öl 5 °C\n\tµ – ok") == "Öl 5 °C\n\tµ – ok"
    told = io.StringIO()
    console = _Console(file=told, force_terminal=False, width=80)
    console.print("name\x1b]0;x\x07")
    assert "\x1b" not in told.getvalue()


@pytest.mark.parametrize(
    "name", ["ev\x1b[31mil.csv", "\u202egnp.csv", "new\nline.csv", b"\xff\xfe.csv"]
)
def test_a_log_may_be_called_anything(book: Logbook, tmp_path: Path, name: str | bytes) -> None:
    text = os.fsdecode(name)
    plain = write_log(tmp_path, "plain.csv", "2026-03-03T10:00:00Z")
    log = Path(shutil.move(plain, tmp_path / text))
    os.utime(log, (1_780_000_000, 1_780_000_000))
    for words in (
        ["preview", log],
        ["preview", log, "--json"],
        ["ingest", log, "--engine", "E2", "--json"],
        ["ingest", log, "--engine", "E2"],
        ["run", "list"],
        ["run", "list", "--json"],
        ["verify"],
        ["ingest", f"{log}.none", "--engine", "E2"],
        ["events", "--engine", text],
    ):
        status, out, err = bounded(command, "--logbook", book.root, *words).value
        assert status in (0, 1), (words, err)
        if "--json" in words:
            json.loads(out)
        else:
            assert "\x1b" not in out + err
            assert "\u202e" not in out + err


def test_what_looks_like_a_query_is_text_to_every_command(book: Logbook) -> None:
    for text in QUOTES[:5]:
        for words, status, said in bounded(every_command, book.root, text).value:
            assert status in (0, 1, 2), (words, said)
            assert "Traceback" not in said, (words, said)
            assert "syntax error" not in said, (words, said)
    with open_logbook(book.root).register.reading() as session:
        assert [each.engine_id for each in engines.list_engines(session)] == ["E1", "E2", "E3"]
        for text in QUOTES[:5]:
            assert parts.find_part(session, text).note == text
    assert not book.register.faults()


def every_command(root: Path, text: str) -> list[tuple[list[str], int, str]]:
    ends = []
    for words in [
        ["part", "add", "--kind", "piston_pin", "--note", text, "--", text],
        ["part", "fit", "--engine", text, "--at", "2026-02-01", "--", text],
        ["part", "list", "--engine", text],
        ["events", "--engine", text],
        ["events", "--run", text],
        ["events", "--kind", text],
        ["review", "--note", text, "--", text, "harmless"],
        ["totals", "--", text],
        ["run", "list", "--engine", text],
        ["run", "remove", "--note", text, "--", text],
        ["run", "assign", "--engine", text, "--", text],
        ["engine", "refresh", "--at", "2026-02-02", "--note", text, "--", "E3"],
        ["engine", "refresh", "--at", text, "--", text],
        ["match", "--", text],
        ["outlook", "--circuit", text, "--", "E2"],
        ["outlook", "--", text],
        ["journal", "--", text],
        ["correct", "--note", text, "--", "part", text, f"note={text}"],
        ["withdraw", "--note", text, "--", "part", f"{text}x"],
        ["undo", "--", text],
        ["teardown", "sheet", "--", text],
        ["export", "--engine", text, str(root.parent / "never")],
    ]:
        status, out, err = command("--logbook", root, *words)
        ends.append((words, status, out + err))
    return ends


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.name)
def test_what_looks_like_a_query_is_text_to_every_form(book: Logbook, form: Form) -> None:
    desk = Desk(book, lambda: NOW, "Bob")
    sound = {each.name: SOUND.get(each.name, "") for each in form.fields}
    for text in QUOTES[:5]:
        for field in form.fields:
            carry_out(desk, form, {**sound, field.name: text})
        carry_out(desk, form, dict.fromkeys(sound, text))
    with book.register.reading() as session:
        assert [each.engine_id for each in engines.list_engines(session)] == ["E1", "E2", "E3"]
    assert not book.register.faults()


def test_a_part_is_kept_under_whatever_a_form_calls_it(book: Logbook) -> None:
    desk = Desk(book, lambda: NOW, "Bob")
    for text in QUOTES[:5]:
        given = {"id": text, "kind": "piston_pin", "note": text}
        done, _ = carry_out(desk, register_parts.ADD_PART, given)
        assert done
        with book.register.reading() as session:
            assert parts.find_part(session, text).note == text


@pytest.mark.parametrize("text", QUOTES)
def test_what_looks_like_a_query_is_text_to_every_address(
    pages: flask.testing.FlaskClient, text: str
) -> None:
    answer = pages.get("/csv/events.csv", query_string={"engine": text})
    assert (answer.status_code, answer.text[:18]) == (404, "There is no engine")
    for path, names in (
        ("/report/runs.html", ("since", "until", "only", "circuit")),
        ("/report/engine/E1.html", ("runs", "circuit")),
        ("/report/teardown/E1.html", ("at",)),
    ):
        for name in names:
            answer = pages.get(path, query_string={name: text})
            assert answer.status_code in (200, 404), (path, name)
