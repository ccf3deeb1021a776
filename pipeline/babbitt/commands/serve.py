"""babbitt serve: the pages, in a browser on this machine or, behind a password, on others."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated

import typer

from babbitt.commands.common import LogbookOption, err, open_from, out, who

_TLS_ADVICE = (
    "Others on this network could read what goes to and fro, the password too. Put a server that "
    "speaks TLS before this one (any reverse proxy will do): let it hold the certificate, hand "
    "on the Host header, say in X-Forwarded-For who asks, and pass requests to this address; then "
    "start this with --behind-tls on 127.0.0.1, so that nobody can go round it."
)


def serve(
    context: typer.Context,
    host: Annotated[
        str,
        typer.Option(
            metavar="ADDRESS", help="Listen here; others than this machine need a password."
        ),
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="0 takes a free one.")] = 8050,
    behind_tls: Annotated[
        bool, typer.Option("--behind-tls", help="A server before this one speaks TLS.")
    ] = False,
    set_password: Annotated[
        bool, typer.Option("--set-password", help="Ask for a new password, keep it, and end.")
    ] = False,
    logbook: LogbookOption = None,
) -> None:
    """Show the logbook in a browser."""
    # Dash is slow to import
    from babbitt_dashboard import serving
    from babbitt_dashboard.desk import Desk
    from babbitt_dashboard.guard import is_loopback

    book = open_from(context, logbook)
    if set_password:
        serving.set_password(
            book, typer.prompt("New password", hide_input=True, confirmation_prompt=True)
        )
        out.print(
            "The password is set: whoever was logged in is asked for it, and pages that asked for "
            "none ask from their next start."
        )
        return
    desk = Desk(book, lambda: datetime.now(UTC), who())
    server = serving.make_server(desk, host=host, port=port, behind_tls=behind_tls)
    if not behind_tls and not is_loopback(host):
        err.print(_TLS_ADVICE)
    out.print(f"The logbook is open at {serving.address_of(server)}; Ctrl-C closes it.")
    server.run()
