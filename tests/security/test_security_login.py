"""Getting in: the password, the session that it opens, and whoever tries again and again."""

from __future__ import annotations

import itertools
import threading
from concurrent.futures import ThreadPoolExecutor, wait
from datetime import UTC, datetime
from typing import Any

import flask.sessions
import flask.testing
import itsdangerous
import pytest
from dash import Dash
from werkzeug.test import Client

from babbitt.logbook.folder import Logbook
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.guard import Tries, add_guard, hash_password
from babbitt_dashboard.serving import make_server, set_password
from entrance import PASSWORD, TLS

HTML = {"Accept": "text/html"}
COOKIE = "__Host-babbitt"


def status(client: flask.testing.FlaskClient) -> int:
    return client.get("/_dash-layout", base_url=TLS).status_code


def cookie_of(client: flask.testing.FlaskClient) -> str:
    kept = client.get_cookie(COOKIE, domain="logbook.example")
    assert kept is not None
    return kept.value


def test_every_way_in_but_the_login_is_shut(locked: flask.testing.FlaskClient, app: Dash) -> None:
    opened = set()
    for rule in app.server.url_map.iter_rules():
        path = rule.rule.replace("<path:path>", "x").replace("<path:filename>", "run.js")
        for method in rule.methods or ():
            answer = locked.open(path, method=method, base_url=TLS)
            if answer.status_code not in (302, 401):
                opened.add((method, rule.endpoint))
    assert {endpoint for _, endpoint in opened} == {"login"}


def test_the_session_is_kept_from_scripts_other_sites_and_plain_http(
    locked: flask.testing.FlaskClient,
) -> None:
    answer = locked.post("/login", data={"password": PASSWORD}, base_url=TLS)
    flags = {each.strip() for each in answer.headers["Set-Cookie"].split(";")[1:]}
    assert {"Secure", "HttpOnly", "SameSite=Lax", "Path=/"} <= flags
    assert not any(each.startswith("Domain=") for each in flags)


def test_logging_in_opens_the_pages(entered: flask.testing.FlaskClient) -> None:
    assert status(entered) == 200


def test_a_session_says_neither_password_nor_hash(
    entered: flask.testing.FlaskClient, hashes: list[str]
) -> None:
    told = itsdangerous.base64_decode(cookie_of(entered).split(".")[0] + "==").decode()
    assert PASSWORD not in told
    assert hashes[0] not in told
    assert hashes[0].rsplit("$", 1)[1] not in told


@pytest.mark.parametrize(
    "change",
    [
        lambda kept: kept[:-9] + ("a" if kept[-9] != "a" else "b") + kept[-8:],
        lambda kept: "e30" + kept[kept.index(".") :],
        lambda _: "",
        lambda _: "x" * 4000,
    ],
)
def test_a_changed_session_is_none(entered: flask.testing.FlaskClient, change: Any) -> None:
    entered.set_cookie(COOKIE, change(cookie_of(entered)), domain="logbook.example")
    assert status(entered) == 401


def test_a_session_sealed_by_another_key_is_none(
    locked: flask.testing.FlaskClient, entered: flask.testing.FlaskClient
) -> None:
    other = flask.Flask("other")
    other.secret_key = b"k" * 32
    signer = flask.sessions.SecureCookieSessionInterface().get_signing_serializer(other)
    assert signer is not None
    locked.set_cookie(COOKIE, signer.dumps({"in": True}), domain="logbook.example")
    assert status(locked) == 401


@pytest.mark.parametrize("seal", [True, 1, None, "", "0" * 64, [], {}])
def test_only_the_seal_of_the_password_opens(
    locked: flask.testing.FlaskClient, app: Dash, seal: object
) -> None:
    signer = flask.sessions.SecureCookieSessionInterface().get_signing_serializer(app.server)
    assert signer is not None
    locked.set_cookie(COOKIE, signer.dumps({"in": seal}), domain="logbook.example")
    assert status(locked) == 401


def test_a_session_ends_after_twelve_hours_without_a_visit(
    entered: flask.testing.FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = itsdangerous.TimestampSigner.get_timestamp
    kept = cookie_of(entered)
    for hours, expected in ((11, 200), (13, 401)):
        entered.set_cookie(COOKIE, kept, domain="logbook.example")
        monkeypatch.setattr(
            itsdangerous.TimestampSigner, "get_timestamp", lambda s, h=hours: now(s) + 3600 * h
        )
        assert status(entered) == expected


def test_logging_out_ends_the_session_and_every_copy_of_its_cookie(
    entered: flask.testing.FlaskClient, app: Dash
) -> None:
    copied, other = app.server.test_client(), app.server.test_client()
    copied.set_cookie(COOKIE, cookie_of(entered), domain="logbook.example", secure=True)
    other.post("/login", data={"password": PASSWORD}, base_url=TLS)
    assert [status(each) for each in (entered, copied, other)] == [200, 200, 200]
    answer = entered.post("/logout", base_url=TLS)
    assert (answer.status_code, answer.headers["Location"]) == (302, "/login")
    assert [status(each) for each in (entered, copied, other)] == [401, 401, 200]


def test_no_address_to_look_at_logs_anybody_out(entered: flask.testing.FlaskClient) -> None:
    entered.get("/logout", base_url=TLS)
    assert status(entered) == 200


def test_a_new_password_ends_the_sessions_of_the_old_one(
    entered: flask.testing.FlaskClient, hashes: list[str | None]
) -> None:
    hashes.append(hash_password("another long enough word"))
    assert status(entered) == 401
    entered.post("/login", data={"password": PASSWORD}, base_url=TLS)
    assert status(entered) == 401
    entered.post("/login", data={"password": "another long enough word"}, base_url=TLS)
    assert status(entered) == 200


def test_nobody_gets_in_where_the_password_went_missing(
    entered: flask.testing.FlaskClient, hashes: list[str | None]
) -> None:
    hashes.append(None)
    assert status(entered) == 401
    assert entered.post("/login", data={"password": ""}, base_url=TLS).status_code == 403


def test_a_password_that_is_set_holds_on_this_machine_too(book: Logbook) -> None:
    set_password(book, PASSWORD)
    desk = Desk(book, lambda: datetime(2026, 11, 1, tzinfo=UTC), "me")
    server = make_server(desk, host="127.0.0.1", port=0)
    try:
        client = Client(server.application)
        here = {"headers": HTML, "environ_base": {"REMOTE_ADDR": "127.0.0.1"}}
        assert client.get("/runs", **here).status_code == 302
        client.post("/login", data={"password": PASSWORD}, **here)
        assert client.get("/runs", **here).status_code == 200
        set_password(book, "another long enough word")
        assert client.get("/runs", **here).status_code == 302
    finally:
        server.close()
        server.task_dispatcher.shutdown()


def test_a_new_session_is_no_new_guest(app: Dash, hashes: list[str | None]) -> None:
    add_guard(app, password_hash=lambda: hashes[-1])
    said = [
        app.server.test_client().post("/login", data={"password": f"guess {n}"}).status_code
        for n in range(6)
    ]
    assert said == [403] * 4 + [429] * 2
    assert app.server.test_client().post("/login", data={"password": PASSWORD}).status_code == 429


def test_a_home_network_is_one_guest_and_a_neighbour_another() -> None:
    tries = Tries(clock=lambda: 0.0)
    waits = [tries.attempt(f"2001:db8:0:1::{n:x}", lambda: False) for n in range(5)]
    assert waits == [0.0] * 4 + [30.0]
    assert tries.attempt("2001:db8:0:1:ffff::1", lambda: pytest.fail("was tried")) == 30.0
    assert tries.attempt("2001:db8:0:2::1", lambda: False) == 0.0
    for _ in range(5):
        tries.attempt("::ffff:10.0.0.1", lambda: False)
    assert tries.attempt("10.0.0.1", lambda: pytest.fail("was tried")) == 30.0


def test_many_tries_at_once_are_no_more_tries_and_leave_threads_free() -> None:
    tries, tried, go = Tries(clock=lambda: 0.0), [], threading.Event()

    def is_right() -> bool:
        tried.append(1)
        go.wait(10.0)
        return False

    with ThreadPoolExecutor(8) as pool:
        told = [pool.submit(tries.attempt, "10.0.0.1", is_right) for _ in range(8)]
        done, _ = wait(told, timeout=5.0, return_when="FIRST_COMPLETED")
        assert done, "all of them are held up"
        go.set()
        waits = [each.result() for each in told]
    assert len(tried) <= 2
    assert waits.count(1.0) >= 6


def test_far_more_guests_than_can_be_remembered_take_little_memory() -> None:
    seconds = itertools.count(step=2.0)
    tries = Tries(clock=lambda: next(seconds))
    for n in range(20_000):
        tries.attempt(f"10.{n >> 16}.{n >> 8 & 255}.{n & 255}", lambda: False)
    assert len(tries._wrong) == 10_000


@pytest.mark.parametrize("size", [5_000, 50_000_000])
def test_a_password_of_any_length_is_answered_at_once(
    locked: flask.testing.FlaskClient, size: int
) -> None:
    answer = locked.post("/login", data={"password": "x" * size}, base_url=TLS)
    assert answer.status_code == 413


def test_what_is_no_hash_lets_nobody_in(
    locked: flask.testing.FlaskClient, hashes: list[str | None]
) -> None:
    for kept in ("", "plain", "$argon2id$broken"):
        hashes.append(kept)
        assert locked.post("/login", data={"password": kept}, base_url=TLS).status_code in (
            403,
            429,
        )


def test_this_machine_is_one_whatever_address_it_asks_from() -> None:
    tries = Tries(clock=lambda: 0.0)
    addresses = ("127.0.0.1", "127.9.8.7", "::1", "::ffff:127.0.0.3", "127.0.0.2")
    waits = [tries.attempt(each, lambda: False) for each in addresses]
    assert waits == [0.0] * 4 + [30.0]


def test_guesses_from_many_addresses_are_slowed_down_as_a_whole() -> None:
    now = 0.0
    tries = Tries(clock=lambda: now)
    looked_at = [
        tries.attempt(f"10.0.{i // 250}.{i % 250}", lambda: False) == 0.0 for i in range(5000)
    ]
    assert sum(looked_at) == 100
    assert tries.attempt("10.9.9.9", lambda: pytest.fail("was tried")) == 1.0
    now = 1.0
    assert tries.attempt("10.9.9.9", lambda: True) is None


def test_a_session_ends_when_it_said_though_a_page_asks_on(
    entered: flask.testing.FlaskClient,
) -> None:
    before = cookie_of(entered)
    for _ in range(3):
        answer = entered.get("/_dash-layout", base_url=TLS)
        assert "Set-Cookie" not in answer.headers
    assert cookie_of(entered) == before


@pytest.mark.parametrize(
    ("port", "behind_tls", "name"),
    [(8051, False, "babbitt-8051"), (8051, True, "__Host-babbitt-8051"), (None, False, "babbitt")],
)
def test_logbooks_of_one_machine_have_cookies_of_their_own(
    app: Dash, hashes: list[str | None], port: int | None, behind_tls: bool, name: str
) -> None:
    add_guard(app, password_hash=lambda: hashes[-1], behind_tls=behind_tls, port=port)
    answer = app.server.test_client().post("/login", data={"password": PASSWORD}, base_url=TLS)
    assert answer.headers["Set-Cookie"].startswith(f"{name}=")


def test_a_name_bound_anew_to_this_machine_is_refused_with_a_password_too(
    app: Dash, hashes: list[str | None]
) -> None:
    add_guard(app, password_hash=lambda: hashes[-1], loopback_only=True)
    client = app.server.test_client()
    assert client.get("/login", base_url="http://evil.example").status_code == 403
    assert client.get("/login", base_url="http://127.0.0.1:8050").status_code == 200
