"""Who may see the pages, and what a browser is told about them: nothing gets in from elsewhere."""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import math
import secrets
import threading
import time
from collections.abc import Callable, Container
from dataclasses import dataclass, field
from datetime import timedelta
from functools import cache
from typing import Any, cast
from urllib.parse import urlsplit

import flask
from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from dash import Dash

MOST_BODY_BYTES = 36 << 20
"""No request is larger: what the largest photo takes as text."""

_SAFE = ("GET", "HEAD", "OPTIONS")
_OPEN = ("/login", "/assets/paper.css")
_OURS = ("/assets/", "/_dash-component-suites/")
"""Paths of what comes with the program, which a browser may keep."""

_MOST_LOGIN_BYTES = 4096
_SESSION = timedelta(hours=12)
_FREE_TRIES = 5
_FIRST_WAIT_S = 30.0
_LONGEST_WAIT_S = 3600.0
_REMEMBERED = 10_000
_FREE_IN_ALL = 100
_SLOW_S = 1.0
_AT_ONCE = 2
_CROWDED_S = 1.0
_HOME_NETWORK_BITS = 64
"""Whoever has one IPv6 address has all that begin like it, so they count as one (RFC 6177)."""

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

    Whoever guesses from many addresses slows all guesses down: once a hundred in all were wrong,
    one a second is looked at.

    Attributes:
        clock: tells the time, seconds.
    """

    clock: Callable[[], float] = time.monotonic
    _wrong_in_all: int = 0
    _all_until: float = -math.inf
    _wrong: dict[str, tuple[int, float]] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _room: threading.Semaphore = field(default_factory=lambda: threading.Semaphore(_AT_ONCE))

    def attempt(self, address: str, is_right: Callable[[], bool]) -> float | None:
        """Try a password, one at a time: many at once get no more tries, nor hold up the pages.

        Args:
            address: who tries.
            is_right: whether the password is right; not asked of one who has to wait.

        Returns:
            None: it is right; else how long this address must wait now, seconds.
        """
        if not self._room.acquire(blocking=False):
            return _CROWDED_S
        try:
            with self._lock:
                return self._attempt(_network(address), is_right)
        finally:
            self._room.release()

    def _attempt(self, who: str, is_right: Callable[[], bool]) -> float | None:
        count, until = self._wrong.get(who, (0, 0.0))
        until = max(until, self._all_until)
        if until > self.clock():
            return until - self.clock()
        self._wrong.pop(who, None)
        if is_right():
            return None
        wait = min(_FIRST_WAIT_S * 2.0 ** (count + 1 - _FREE_TRIES), _LONGEST_WAIT_S)
        wait = wait if count + 1 >= _FREE_TRIES else 0.0
        self._wrong[who] = count + 1, self.clock() + wait
        self._wrong_in_all += 1
        if self._wrong_in_all >= _FREE_IN_ALL:
            self._all_until = self.clock() + _SLOW_S
        if len(self._wrong) > _REMEMBERED:
            del self._wrong[next(iter(self._wrong))]
        return wait


def add_guard(
    app: Dash,
    *,
    password_hash: Callable[[], str | None] | None,
    loopback_only: bool = False,
    behind_tls: bool = False,
    port: int | None = None,
) -> None:
    """Put the guard before every answer of the application.

    Args:
        app: the application, with all its callbacks.
        password_hash: returns the Argon2 hash that holds now, None where it is gone, and then
            nobody gets in; None: only this machine is answered, without a password.
        loopback_only: nobody asks for these pages by another name than this machine's own, with a
            password or without; a name that was bound anew to this address is refused.
        port: that is listened on, which tells the cookie from those of other logbooks on this
            machine; None: there is but one.
        behind_tls: what reaches this server came over TLS, so cookies are kept to it.
    """
    server = app.server
    ended: set[str] = set()
    server.secret_key = secrets.token_bytes(32)
    server.config.update(
        SESSION_COOKIE_NAME=_cookie_name(port, behind_tls=behind_tls),
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        SESSION_COOKIE_SECURE=behind_tls,
        PERMANENT_SESSION_LIFETIME=_SESSION,
        SESSION_REFRESH_EACH_REQUEST=False,  # a page left open asks on and on
        MAX_CONTENT_LENGTH=MOST_BODY_BYTES,
    )

    @cache
    def policy() -> str:
        # asked for only now: the first request brings scripts of the library's own
        return _policy(app)

    @server.before_request
    def refuse() -> Any:
        alone = password_hash is None or loopback_only
        if alone and not is_loopback(_host(request_host())):
            return "These pages are for this machine only.", 403
        if flask.request.method not in _SAFE and _comes_from_elsewhere():
            return "This request came from another site and was refused.", 403
        if password_hash is None or _is_in(password_hash(), ended):
            return None
        if flask.request.path in _OPEN:
            flask.request.max_content_length = _MOST_LOGIN_BYTES
            return None
        if flask.request.method == "GET" and flask.request.accept_mimetypes.accept_html:
            return flask.redirect(flask.url_for("login", next=flask.request.full_path))
        return "Log in first.", 401

    @server.after_request
    def add_headers(response: flask.Response) -> flask.Response:
        response.headers.setdefault("Content-Security-Policy", policy())
        if not flask.request.path.startswith(_OURS):  # the rest shows the record
            response.headers.setdefault("Cache-Control", "no-store")
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["X-Frame-Options"] = "DENY"
        response.headers["Referrer-Policy"] = "same-origin"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        return response

    _add_login(server, password_hash)
    _add_logout(server, ended)


def _cookie_name(port: int | None, *, behind_tls: bool) -> str:
    """Return the session's name: a cookie is of a host, whatever its ports."""
    name = "babbitt" if port is None else f"babbitt-{port}"
    return f"__Host-{name}" if behind_tls else name


def _add_login(server: flask.Flask, password_hash: Callable[[], str | None] | None) -> None:
    tries = Tries()

    def login() -> Any:
        next_path = _own_path(flask.request.values.get("next", "/"))
        if password_hash is None:
            return flask.redirect("/")
        said, status = "", 200
        if flask.request.method == "POST":
            kept, typed = password_hash(), flask.request.form.get("password", "")
            wait = tries.attempt(flask.request.remote_addr or "", lambda: _is_right(kept, typed))
            if wait is None:
                flask.session.clear()
                flask.session.permanent = True
                flask.session["in"] = _seal(kept)
                flask.session["id"] = secrets.token_urlsafe()
                return flask.redirect(next_path)
            said, status = "That is not the password.", 403
            if wait > 0.0:
                said, status = f"Too many wrong passwords: try again in {wait:.0f} s.", 429
        return flask.render_template_string(_LOGIN, said=said, next=next_path), status

    server.add_url_rule("/login", "login", login, methods=["GET", "POST"])


def _add_logout(server: flask.Flask, ended: set[str]) -> None:
    def logout() -> Any:
        # the cookie may have been copied, so forgetting it here is not enough
        ended.add(flask.session.pop("id", ""))
        flask.session.clear()
        return flask.redirect(flask.url_for("login"))

    server.add_url_rule("/logout", "logout", logout, methods=["POST"])


def came_by_password() -> bool:
    """Whether who looks on logged in, so that logging out means something."""
    return flask.has_request_context() and "in" in flask.session


def hash_password(password: str) -> str:
    """Return the Argon2id hash of a password, with its salt and cost."""
    return PasswordHasher().hash(password)


def is_loopback(host: str) -> bool:
    """Whether an address is this machine's own, which no other can reach."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _is_right(kept: str | None, password: str) -> bool:
    try:
        return kept is not None and PasswordHasher().verify(kept, password)
    except (VerificationError, InvalidHashError):
        return False


def _is_in(kept: str | None, ended: Container[str]) -> bool:
    """Whether this browser logged in by the password that holds now, and did not log out."""
    seal = flask.session.get("in")
    if kept is None or not isinstance(seal, str) or flask.session.get("id") in ended:
        return False
    return hmac.compare_digest(seal, _seal(kept))


def _seal(kept: str | None) -> str:
    """Return what a session carries of the password's hash: it ends when that changes."""
    key = cast(bytes, flask.current_app.secret_key)
    return hmac.new(key, str(kept).encode(), hashlib.sha256).hexdigest()


def _network(address: str) -> str:
    """Return what counts as one who tries: an IPv4 address, the network of an IPv6 one, or us."""
    try:
        at = ipaddress.ip_address(address)
    except ValueError:
        return address
    if isinstance(at, ipaddress.IPv6Address) and at.ipv4_mapped is not None:
        at = at.ipv4_mapped
    if at.is_loopback:
        return "this machine"  # it has millions of such addresses to ask from
    if isinstance(at, ipaddress.IPv4Address):
        return str(at)
    return str(ipaddress.ip_network((at.packed, _HOME_NETWORK_BITS), strict=False))


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
    try:
        return urlsplit(f"//{address}").hostname or ""
    except ValueError:
        return ""


def _comes_from_elsewhere() -> bool:
    """Whether the browser says that another site made this request; other programs say nothing."""
    if flask.request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
        return True
    origin = flask.request.headers.get("Origin")
    try:
        return origin is not None and urlsplit(origin).netloc != request_host()
    except ValueError:
        return True


def _own_path(text: str) -> str:
    """Return a path of this server; anything that leads elsewhere leads to the first page."""
    own = text.startswith("/") and not text.startswith("//") and "\\" not in text
    return text if own and text.isprintable() else "/"
