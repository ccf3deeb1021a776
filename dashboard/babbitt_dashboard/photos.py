"""Photos of findings, as the logbook keeps them."""

from __future__ import annotations

import flask
from dash import Dash

from babbitt.present.views.photos import photo_file
from babbitt_dashboard.desk import Desk

_YEAR_S = 365 * 86_400


def add_photos(app: Dash, desk: Desk) -> None:
    """Serve the photos of findings at /photo/NAME, and their thumbnails at /photo/small/NAME.

    Args:
        app: the application.
        desk: the logbook.
    """

    def photo(name: str) -> flask.Response:
        return _send(desk, name, small=False)

    def small_photo(name: str) -> flask.Response:
        return _send(desk, name, small=True)

    app.server.add_url_rule("/photo/<name>", "photo", photo)
    app.server.add_url_rule("/photo/small/<name>", "small_photo", small_photo)


def _send(desk: Desk, name: str, *, small: bool) -> flask.Response:
    path = photo_file(desk.book, name, small=small)
    if path is None:
        flask.abort(404, "No finding has such a photo.")
    # A name is the hash of what is in it, so a browser may keep it.
    answer = flask.send_file(path.resolve(), max_age=_YEAR_S, conditional=True)
    answer.cache_control.public = False
    answer.cache_control.private = True  # no proxy on the way may keep it
    return answer
