"""Logs that a browser sends: piece by piece, straight to the disk."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import flask
from dash import Dash

from babbitt.errors import BabbittError, LogbookError, LogRefusedError
from babbitt.present.views.logs_inbox import add_piece, begin
from babbitt_dashboard.desk import Desk

MOST_PIECE_BYTES = 16 << 20
"""A browser sends a log in pieces of no more bytes; logs.js makes them half as large."""

_BLOCK = 1 << 18


def add_uploads(app: Dash, desk: Desk) -> None:
    """Take logs at /upload, a piece of one a request.

    The address holds `name`, `size` (bytes) and `modified` (ms since 1970) of the file with its
    first piece, `token` with the later ones, and `at`, the bytes before this piece. The answer is
    JSON: `token` and `came`, the bytes that have come, or `error`, a sentence.

    Args:
        app: the application.
        desk: the logbook.
    """

    def upload() -> tuple[dict[str, Any], int]:
        return take_piece(desk)

    app.server.add_url_rule("/upload", "upload", upload, methods=["POST"])


def take_piece(desk: Desk) -> tuple[dict[str, Any], int]:
    """Take the piece that the request holds; return the answer and its status."""
    length = flask.request.content_length
    if length is None or length > MOST_PIECE_BYTES:
        return {"error": "That piece of a file is too large: load the page again."}, 413
    asked = flask.request.args
    try:
        at = _whole(asked.get("at", "0"))
        token = asked.get("token") or begin(
            desk.book,
            asked.get("name", ""),
            _whole(asked.get("size", "")),
            _instant(asked.get("modified", "")),
        )
        return {"token": token, "came": add_piece(desk.book, token, at, _blocks())}, 200
    except LogbookError as error:
        return {"error": str(error)}, 500
    except BabbittError as error:
        return {"error": str(error)}, 400


def _blocks() -> Iterator[bytes]:
    while block := flask.request.stream.read(_BLOCK):
        yield block


def _whole(text: str) -> int:
    if not text.isascii() or not text.isdigit() or len(text) > 15:
        raise LogRefusedError("The browser did not say how large the file is: load the page again.")
    return int(text)


def _instant(text: str) -> datetime:
    try:
        return datetime.fromtimestamp(_whole(text) / 1000.0, UTC)
    except (ValueError, OverflowError, OSError) as error:
        raise LogRefusedError(
            "The browser did not say when the file was changed: load the page again."
        ) from error
