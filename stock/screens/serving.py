"""The terminal UI in a browser, guarded: a token in the link, this host's name only.

``textual-serve`` runs one terminal UI per visitor and carries it over a WebSocket. Around it stand:
a random token (in the link once, then an HttpOnly cookie), a check of the Host header against DNS
rebinding, a check of the Origin of the WebSocket. The book's address travels by environment, so
that neither page nor process list shows it.
"""

from __future__ import annotations

import asyncio
import errno
import hmac
import logging
import os
import secrets
import shlex
import signal
import socket
import sys
from collections.abc import Awaitable, Callable
from pathlib import Path
from urllib.parse import urlsplit

from aiohttp import web
from textual_serve.server import Server

from stock.errors import Refused

COOKIE = "stock_token"
LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
CLOSING_SECONDS = 2.0
"""How long open pages are waited for at the end; what they are booking is booked even so."""
POLICY = (
    "default-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
    "connect-src 'self' ws: wss:; frame-ancestors 'none'"
)
"""The page may load nothing from elsewhere."""

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


class GuardedServer(Server):
    """Serves the terminal UI to those who hold the token."""

    def __init__(self, address: str, host: str, port: int, token: str = "") -> None:
        command = f"{shlex.quote(sys.executable)} -m stock"
        shown = f"[{host}]" if ":" in host else host
        url = f"http://{shown}" if port == 80 else f"http://{shown}:{port}"
        super().__init__(command, host=host, port=port, title="stock", public_url=url.lower())
        self.templates_path = Path(__file__).with_name("browser")
        os.environ["STOCK_BOOK"] = address
        self.token = token or secrets.token_urlsafe(32)
        self.names = {f"{name}:{port}".lower() for name in (*LOOPBACK, shown)}
        if port == 80:
            self.names |= {*LOOPBACK, shown.lower()}

    @property
    def link(self) -> str:
        """The link that opens the UI, token and all."""
        return f"{self.public_url}/?token={self.token}"

    def initialize_logging(self) -> None:
        """Only what went wrong; links (and tokens) are not logged."""
        logging.basicConfig(level=logging.WARNING)

    async def on_startup(self, app: web.Application) -> None:
        """Nothing yet: the port may be somebody else's."""

    def say_link(self, *_: object) -> None:
        """Say the link, once the port listens."""
        self.console.print(
            f"The screens are at:\n  {self.link}\nCtrl+C ends.",
            highlight=False,
            markup=False,
            soft_wrap=True,
        )

    async def _make_app(self) -> web.Application:
        app = await super()._make_app()
        app.middlewares.append(self._guard())  # type: ignore[arg-type]
        app.router.add_get("/page.js", _page_script)
        return app

    def _guard(self) -> Callable[[web.Request, Handler], Awaitable[web.StreamResponse]]:
        @web.middleware
        async def guard(request: web.Request, handler: Handler) -> web.StreamResponse:
            host = request.host.lower()
            if host not in self.names:
                raise web.HTTPForbidden(text="This address is not served here.")
            origin = request.headers.get("Origin")
            if origin is not None and _host_of(origin) not in self.names:
                raise web.HTTPForbidden(text="Another page may not call here.")
            given = request.query.get("token")
            if given is not None:
                if not self._is_token(given):
                    raise web.HTTPUnauthorized(text="The link is not right: ask for a new one.")
                if host != urlsplit(self.public_url).netloc:
                    raise web.HTTPFound(self.link)  # the page and its cookie are for one name
                answer = web.HTTPFound("/")
                answer.set_cookie(COOKIE, self.token, httponly=True, samesite="Strict", path="/")
                raise answer
            if not self._is_token(request.cookies.get(COOKIE, "")):
                raise web.HTTPUnauthorized(text="Open the link that stock serve printed.")
            answered = await handler(request)
            if not answered.prepared:
                answered.headers["Referrer-Policy"] = "no-referrer"
                answered.headers["X-Frame-Options"] = "DENY"
                answered.headers["Cache-Control"] = "no-store"
                answered.headers["Content-Security-Policy"] = POLICY
            return answered

        return guard

    def _is_token(self, given: str) -> bool:
        return hmac.compare_digest(given.encode(errors="surrogateescape"), self.token.encode())

    def serve(self, debug: bool = False) -> None:
        """Serve until Ctrl+C or SIGTERM.

        Raises:
            Refused: The port is taken or not ours to take, the host is not this machine's.
        """
        self.initialize_logging()
        loop = asyncio.new_event_loop()
        asyncio.set_event_loop(loop)
        for name in (signal.SIGINT, signal.SIGTERM):
            try:
                loop.add_signal_handler(name, self.request_exit)
            except NotImplementedError:
                continue
        try:
            web.run_app(
                self._make_app(),
                host=self.host,
                port=self.port,
                handle_signals=False,
                loop=loop,
                print=self.say_link,
                access_log=None,
                shutdown_timeout=CLOSING_SECONDS,
            )
        except OSError as error:
            raise Refused(self._why_not(error)) from None

    def _why_not(self, error: OSError) -> str:
        if error.errno == errno.EADDRINUSE:
            return f"Port {self.port} is taken by another program; --port names another."
        if error.errno in (errno.EACCES, errno.EPERM):
            return f"Port {self.port} is not for this login; --port names one from 1024 up."
        if error.errno == errno.EADDRNOTAVAIL or isinstance(error, socket.gaierror):
            return f"{self.host} is no address of this machine; --host names one that is."
        return f"Nothing can be served on {self.host}, port {self.port}: {error.strerror or error}."


def _host_of(origin: str) -> str:
    """Host and port of an origin; empty where there is none."""
    try:
        return urlsplit(origin).netloc.lower()
    except ValueError:
        return ""


async def _page_script(_request: web.Request) -> web.FileResponse:
    return web.FileResponse(Path(__file__).with_name("browser") / "page.js")


def serve(address: str, host: str, port: int) -> None:
    """Serve the book's screens on ``host``; see :class:`GuardedServer`."""
    GuardedServer(address, host, port).serve()
