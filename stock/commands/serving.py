"""``stock serve``: the screens in a browser."""

from __future__ import annotations

from typing import Annotated

import typer

from stock.commands.shared import book_address, reading_book, say
from stock.errors import Refused, WrongUsage


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    app.command()(serve)


def serve(
    port: Annotated[int, typer.Option("--port", help="Port to listen on.")] = 8437,
    host: Annotated[
        str, typer.Option("--host", help="Address to listen on (default: this machine only).")
    ] = "127.0.0.1",
) -> None:
    """Show the screens in a browser, to whoever holds the link; this machine only unless told.

    Example:

    \b
        stock serve --port 8437
    """
    if not 1 <= port <= 65535:
        raise WrongUsage(f"--port {port}: expected 1 to 65535.")
    if host in ("0.0.0.0", "::", ""):
        raise WrongUsage(
            "--host: expected the one address or name of this machine that the browsers will call; "
            "another name is refused, so that no page elsewhere can pass for this one."
        )
    reading_book().close()
    try:
        from stock.screens.serving import serve as serve_screens
    except ModuleNotFoundError:
        raise Refused("The browser needs the extra: pip install 'stock[serve]'.") from None
    if host not in ("127.0.0.1", "localhost", "::1"):
        say(
            f"Listening on {host}: whoever can reach it and has the link can book. "
            "The connection is not encrypted; put it behind a proxy with TLS."
        )
    serve_screens(book_address(), host, port)
