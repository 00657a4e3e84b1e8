"""``stock serve``: nobody in without the link; nothing of the book's address on the page."""

from __future__ import annotations

import asyncio
import json
import shutil
import socket
import subprocess
import sys
import time

import pytest

aiohttp = pytest.importorskip("aiohttp", reason="comes with the serve extra, which dev includes")
from aiohttp import web  # noqa: E402

from stock.screens.serving import COOKIE, GuardedServer  # noqa: E402


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
async def served(book_file, monkeypatch):
    """A running server on the test's book."""
    monkeypatch.setenv("STOCK_BOOK", "")
    server = GuardedServer(str(book_file), "127.0.0.1", free_port())
    server.console.quiet = True
    runner = web.AppRunner(await server._make_app(), access_log=None)
    await runner.setup()
    await web.TCPSite(runner, "127.0.0.1", server.port).start()
    yield server
    await runner.cleanup()


@pytest.fixture
def link(book_file, monkeypatch):
    """The link printed by ``stock serve``, run as a person runs it: a process of its own."""
    port = free_port()
    words = [sys.executable, "-m", "stock", "--book", str(book_file), "serve", "--port", str(port)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        printed = next(line.strip() for line in server.stdout if "http://" in line)
        for _ in range(200):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", port)) == 0:
                    break
            time.sleep(0.05)
        yield printed
        server.terminate()
        server.communicate(timeout=20)


async def status(url: str, **words) -> int:
    async with aiohttp.ClientSession() as client, client.get(url, **words) as answer:
        return answer.status


async def test_without_the_token_nothing_is_shown(served):
    base = served.public_url
    assert await status(base + "/") == 401
    assert await status(base + "/ws") == 401
    assert await status(base + "/static/js/textual.js") == 401
    assert await status(base + "/?token=wrong") == 401
    assert await status(base + "/", cookies={COOKIE: "wrong"}) == 401


async def test_another_host_name_is_refused_even_with_the_token(served):
    headers = {"Host": "shop.example:80"}
    assert await status(served.link, headers=headers) == 403


async def test_another_page_may_not_open_the_socket(served):
    headers = {"Origin": "http://shop.example"}
    cookies = {COOKIE: served.token}
    assert await status(served.public_url + "/ws", headers=headers, cookies=cookies) == 403


async def test_the_page_says_nothing_of_the_book(served, book_file):
    jar = aiohttp.CookieJar(unsafe=True)
    async with (
        aiohttp.ClientSession(cookie_jar=jar) as client,
        client.get(served.link) as answer,
    ):
        assert answer.status == 200
        assert "token" not in str(answer.url)
        page = await answer.text()
        policy = answer.headers["Content-Security-Policy"]
    assert book_file.name not in page
    assert str(book_file.parent) not in page
    assert served.token not in page
    assert "default-src 'self'" in policy


async def test_the_socket_carries_the_screens(link):
    jar = aiohttp.CookieJar(unsafe=True)
    async with aiohttp.ClientSession(cookie_jar=jar) as client:
        async with client.get(link):
            pass
        address = link.split("/?")[0].replace("http", "ws") + "/ws?width=80&height=24"
        async with client.ws_connect(address) as socket_:
            got = b""
            async with asyncio.timeout(60):
                async for message in socket_:
                    if message.type is aiohttp.WSMsgType.BINARY:
                        got += message.data
                    elif message.type is aiohttp.WSMsgType.TEXT:
                        json.loads(message.data)
                    if b"Receive" in got:
                        break
    assert b"Press log" in got


@pytest.mark.skipif(
    not (shutil.which("chromium") or shutil.which("chromium-browser")),
    reason="needs a Chromium on this machine; the socket itself is tested above without one",
)
async def test_a_real_browser_shows_the_screens(link, tmp_path):
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    flags = (
        *("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-quic"),
        *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
        *(f"--user-data-dir={tmp_path / 'profile'}", "--virtual-time-budget=15000", "--dump-dom"),
    )
    ran = await asyncio.to_thread(
        subprocess.run,
        [browser, *flags, link],
        capture_output=True,
        text=True,
        timeout=90,
        check=False,
    )
    assert "-first-byte" in ran.stdout or "xterm" in ran.stdout
