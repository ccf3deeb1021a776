"""The guard: nobody gets in from elsewhere, by another site, or by trying passwords."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import flask.testing
import pytest

from babbitt.errors import LogbookError
from babbitt.logbook.folder import Logbook, create_logbook, settings_text
from babbitt_dashboard.app import make_app
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.guard import Tries, add_guard, hash_password
from babbitt_dashboard.serving import make_server, password_hash_of, set_password

PASSWORD = "a long enough word"


@pytest.fixture
def book(tmp_path: Path) -> Logbook:
    return create_logbook(tmp_path / "book", settings_text())


def client(book: Logbook, password_hash: str | None = None) -> flask.testing.FlaskClient:
    app = make_app(Desk(book, lambda: datetime(2026, 11, 1, tzinfo=UTC), "me"))
    add_guard(app, password_hash=(lambda: password_hash) if password_hash else None)
    return app.server.test_client()


@pytest.fixture
def open_pages(book: Logbook) -> flask.testing.FlaskClient:
    return client(book)


@pytest.fixture
def locked(book: Logbook) -> flask.testing.FlaskClient:
    return client(book, hash_password(PASSWORD))


def test_this_machine_is_answered_under_its_own_names_only(
    open_pages: flask.testing.FlaskClient,
) -> None:
    for own in ("127.0.0.1:8050", "localhost:8050", "[::1]:8050", "127.0.0.5"):
        assert open_pages.get("/", headers={"Host": own}).status_code == 200
    for other in ("shop.example", "127.0.0.1.shop.example:8050", "10.0.0.1", "[", ""):
        assert open_pages.get("/", headers={"Host": other}).status_code == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://elsewhere.example"},
        {"Origin": "http://localhost:1"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_a_change_asked_for_by_another_site_is_refused(
    open_pages: flask.testing.FlaskClient, headers: dict[str, str]
) -> None:
    answer = open_pages.post("/_dash-update-component", json={}, headers=headers)
    assert answer.status_code == 403
    assert "another site" in answer.text


def test_a_change_asked_for_by_our_own_page_passes_the_guard(
    open_pages: flask.testing.FlaskClient,
) -> None:
    own = {"Origin": "http://localhost", "Sec-Fetch-Site": "same-origin"}
    answer = open_pages.post("/login", headers=own)
    assert answer.status_code == 302


def test_no_script_from_elsewhere_and_no_frame_around(
    open_pages: flask.testing.FlaskClient,
) -> None:
    headers = open_pages.get("/").headers
    policy = headers["Content-Security-Policy"]
    scripts = next(each for each in policy.split("; ") if each.startswith("script-src"))
    assert "unsafe" not in scripts
    assert "http" not in scripts
    assert "frame-ancestors 'none'" in policy
    assert headers["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize("path", ["/", "/runs", "/assets/head.js", "/_dash-layout"])
def test_without_the_password_nothing_is_shown(
    locked: flask.testing.FlaskClient, path: str
) -> None:
    asked = locked.get(path, headers={"Accept": "text/html"})
    assert asked.status_code == 302
    assert "/login" in asked.headers["Location"]
    assert locked.get(path, headers={"Accept": "application/json"}).status_code == 401
    assert locked.post("/_dash-update-component", json={}).status_code == 401


def test_the_password_opens_the_page_that_was_asked_for(locked: flask.testing.FlaskClient) -> None:
    done = locked.post("/login", data={"password": PASSWORD, "next": "/runs?engine=E1"})
    assert done.status_code == 302
    assert done.headers["Location"] == "/runs?engine=E1"
    cookie = done.headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Lax" in cookie
    assert locked.get("/").status_code == 200


def test_a_made_up_session_does_not_get_in(locked: flask.testing.FlaskClient) -> None:
    locked.set_cookie("babbitt", "eyJpbiI6dHJ1ZX0.aR8fPQ.AAAAAAAAAAAAAAAAAAAAAAAAAAA")
    assert locked.get("/", headers={"Accept": "text/html"}).status_code == 302


@pytest.mark.parametrize(
    "elsewhere", ["http://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example", ""]
)
def test_logging_in_never_leads_to_another_site(
    locked: flask.testing.FlaskClient, elsewhere: str
) -> None:
    done = locked.post("/login", data={"password": PASSWORD, "next": elsewhere})
    assert done.headers["Location"] == "/"


def test_what_is_typed_at_the_login_is_shown_as_text(locked: flask.testing.FlaskClient) -> None:
    done = locked.post("/login", data={"password": "x", "next": '/"><script>alert(1)</script>'})
    assert "<script>" not in done.text


def test_wrong_passwords_make_one_wait(locked: flask.testing.FlaskClient) -> None:
    for _ in range(4):
        assert locked.post("/login", data={"password": "wrong"}).status_code == 403
    assert locked.post("/login", data={"password": "wrong"}).status_code == 429
    assert locked.post("/login", data={"password": PASSWORD}).status_code == 429


def test_each_address_waits_for_itself_and_twice_as_long_each_time() -> None:
    now = 0.0
    tries = Tries(clock=lambda: now)

    def wrong(address: str) -> float | None:
        return tries.attempt(address, lambda: False)

    assert [wrong("10.0.0.1") for _ in range(4)] == [0.0] * 4
    waits = []
    for _ in range(10):
        waits.append(wrong("10.0.0.1"))
        assert tries.attempt("10.0.0.1", lambda: pytest.fail("was tried")) == waits[-1]
        now += waits[-1] or 0.0
    assert waits[:3] == [30.0, 60.0, 120.0]
    assert waits[-1] == 3600.0
    assert wrong("10.0.0.2") == 0.0
    assert tries.attempt("10.0.0.1", lambda: True) is None
    assert wrong("10.0.0.1") == 0.0


def test_the_password_is_kept_as_a_hash_that_only_its_owner_reads(book: Logbook) -> None:
    assert password_hash_of(book) is None
    set_password(book, PASSWORD)
    kept = password_hash_of(book)
    assert kept is not None
    assert kept.startswith("$argon2id$")
    path = book.root / "password.argon2"
    assert path.stat().st_mode & 0o777 == 0o600
    assert PASSWORD not in path.read_text()


def test_a_short_password_is_refused(book: Logbook) -> None:
    with pytest.raises(LogbookError, match="at least 10 characters"):
        set_password(book, "short")
    assert password_hash_of(book) is None


@pytest.mark.parametrize(
    ("host", "behind_tls"), [("0.0.0.0", False), ("::", False), ("127.0.0.1", True)]
)
def test_others_are_not_served_without_a_password(
    book: Logbook, host: str, behind_tls: bool
) -> None:
    desk = Desk(book, lambda: datetime(2026, 11, 1, tzinfo=UTC), "me")
    with pytest.raises(LogbookError, match="set-password"):
        make_server(desk, host=host, port=0, behind_tls=behind_tls)


def test_behind_another_server_only_that_one_is_listened_to(book: Logbook) -> None:
    set_password(book, PASSWORD)
    desk = Desk(book, lambda: datetime(2026, 11, 1, tzinfo=UTC), "me")
    with pytest.raises(LogbookError, match=r"listen on 127\.0\.0\.1"):
        make_server(desk, host="0.0.0.0", port=0, behind_tls=True)
    make_server(desk, host="127.0.0.1", port=0, behind_tls=True).close()


def test_a_port_in_use_is_one_sentence(book: Logbook) -> None:
    desk = Desk(book, lambda: datetime(2026, 11, 1, tzinfo=UTC), "me")
    first = make_server(desk, host="127.0.0.1", port=0)
    try:
        with pytest.raises(LogbookError, match="name another with --port"):
            make_server(desk, host="127.0.0.1", port=first.effective_port)
    finally:
        first.close()
        first.task_dispatcher.shutdown()
