"""Who may see the pages, and what a browser is told about them: nothing gets in from elsewhere."""

from __future__ import annotations

import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from functools import cache
from typing import Any
from urllib.parse import urlsplit

import flask
from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from dash import Dash

LOOPBACK = ("127.0.0.1", "localhost", "::1")
_SAFE = ("GET", "HEAD", "OPTIONS")
_OPEN = ("/login", "/assets/paper.css")
_SESSION = timedelta(hours=12)
_FREE_TRIES = 5
_FIRST_WAIT_S = 30.0
_LONGEST_WAIT_S = 3600.0
_REMEMBERED = 10_000

_LOGIN = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="UTF-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Log in – Babbitt</title>
<link rel="stylesheet" href="/assets/paper.css">
</head>
<body>
<main>
<h1>This logbook is kept behind a password</h1>
{% if said %}<p class="refusal" role="alert">{{ said }}</p>{% endif %}
<form method="post" action="/login">
<p><label for="password">Password</label><br>
<input id="password" name="password" type="password" autocomplete="current-password" required
 autofocus>
<input type="hidden" name="next" value="{{ next }}">
<button class="strong" type="submit">Open the logbook</button></p>
</form>
</main>
</body>
</html>
"""


@dataclass
class Tries:
    """Counts the wrong passwords of each address, and makes it wait ever longer.

    Attributes:
        clock: tells the time, seconds.
    """

    clock: Callable[[], float] = time.monotonic
    _wrong: dict[str, tuple[int, float]] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def wait_s(self, address: str) -> float:
        """Return how long an address must wait before it may try again."""
        with self._lock:
            _, until = self._wrong.get(address, (0, 0.0))
        return max(0.0, until - self.clock())

    def wrong(self, address: str) -> None:
        """Note a wrong password."""
        with self._lock:
            count = self._wrong.pop(address, (0, 0.0))[0] + 1
            wait = min(_FIRST_WAIT_S * 2.0 ** (count - _FREE_TRIES), _LONGEST_WAIT_S)
            self._wrong[address] = count, self.clock() + (wait if count >= _FREE_TRIES else 0.0)
            if len(self._wrong) > _REMEMBERED:
                del self._wrong[next(iter(self._wrong))]

    def right(self, address: str) -> None:
        """Forget what an address got wrong."""
        with self._lock:
            self._wrong.pop(address, None)


def add_guard(app: Dash, *, password_hash: str | None, behind_tls: bool = False) -> None:
    """Put the guard before every answer of the application.

    Args:
        app: the application, with all its callbacks.
        password_hash: Argon2 hash; None: only this machine is answered, without a password.
        behind_tls: what reaches this server came over TLS, so cookies are kept to it.
    """
    server = app.server
    server.secret_key = secrets.token_bytes(32)
    server.config.update(
        SESSION_COOKIE_NAME="babbitt",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        SESSION_COOKIE_SECURE=behind_tls,
        PERMANENT_SESSION_LIFETIME=_SESSION,
    )

    @cache
    def policy() -> str:
        # asked for only now: the first request brings scripts of the library's own
        return _policy(app)

    @server.before_request
    def refuse() -> Any:
        if password_hash is None and _host(request_host()) not in LOOPBACK:
            return "These pages are for this machine only.", 403
        if flask.request.method not in _SAFE and _comes_from_elsewhere():
            return "This request came from another site and was refused.", 403
        if password_hash is None or flask.session.get("in") or flask.request.path in _OPEN:
            return None
        if flask.request.method == "GET" and flask.request.accept_mimetypes.accept_html:
            return flask.redirect(flask.url_for("login", next=flask.request.full_path))
        return "Log in first.", 401

    @server.after_request
    def add_headers(response: flask.Response) -> flask.Response:
        response.headers.setdefault("Content-Security-Policy", policy())
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["X-Frame-Options"] = "DENY"
        response.headers["Referrer-Policy"] = "same-origin"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        return response

    _add_login(server, password_hash)


def _add_login(server: flask.Flask, password_hash: str | None) -> None:
    tries = Tries()

    def login() -> Any:
        next_path = _own_path(flask.request.values.get("next", "/"))
        if password_hash is None:
            return flask.redirect("/")
        said, status = "", 200
        if flask.request.method == "POST":
            address = flask.request.remote_addr or ""
            wait = tries.wait_s(address)
            if wait > 0.0:
                said, status = f"Too many wrong passwords: try again in {wait:.0f} s.", 429
            elif _is_right(password_hash, flask.request.form.get("password", "")):
                tries.right(address)
                flask.session.clear()
                flask.session.permanent = True
                flask.session["in"] = True
                return flask.redirect(next_path)
            else:
                tries.wrong(address)
                said, status = "That is not the password.", 403
        return flask.render_template_string(_LOGIN, said=said, next=next_path), status

    server.add_url_rule("/login", "login", login, methods=["GET", "POST"])


def hash_password(password: str) -> str:
    """Return the Argon2id hash of a password, with its salt and cost."""
    return PasswordHasher().hash(password)


def _is_right(password_hash: str, password: str) -> bool:
    try:
        return PasswordHasher().verify(password_hash, password)
    except (VerificationError, InvalidHashError):
        return False


def _policy(app: Dash) -> str:
    scripts = " ".join(f"'{each}'" if each[0] != "'" else each for each in app.csp_hashes())
    return (
        f"default-src 'self'; script-src 'self' {scripts}; style-src 'self' 'unsafe-inline'; "
        "img-src 'self' data: blob:; worker-src 'self' blob:; object-src 'none'; "
        "base-uri 'self'; form-action 'self'; frame-ancestors 'none'"
    )


def request_host() -> str:
    """Return the host that the browser asked for, as it wrote it."""
    return flask.request.host


def _host(address: str) -> str:
    return urlsplit(f"//{address}").hostname or ""


def _comes_from_elsewhere() -> bool:
    """Whether the browser says that another site made this request; other programs say nothing."""
    if flask.request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
        return True
    origin = flask.request.headers.get("Origin")
    return origin is not None and urlsplit(origin).netloc != request_host()


def _own_path(text: str) -> str:
    """Return a path of this server; anything that leads elsewhere leads to the first page."""
    parts = urlsplit(text)
    own = not parts.scheme and not parts.netloc and text.startswith("/") and "\\" not in text
    return text if own and not text.startswith("//") else "/"
