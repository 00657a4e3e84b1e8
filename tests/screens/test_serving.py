"""``stock serve``: nobody in without the link; nothing of the book's address on the page."""

from __future__ import annotations

import socket
import subprocess
import sys
import time

import aiohttp
import pytest
from aiohttp import web

from stock.screens.serving import COOKIE, GuardedServer
from tests.screens.terminals import CLIENTS


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


@pytest.mark.parametrize("client", CLIENTS)
async def test_words_of_the_screens_arrive_and_keys_answer(link, client, tmp_path):
    """Over the socket everywhere, and in a real browser where this machine has one."""
    async with CLIENTS[client](link, tmp_path / "profile") as terminal:
        today = await terminal.until("Ink rates are priors")
        assert "[1 Today]" in today
        assert "i Import" in today
        await terminal.press("3")
        press = await terminal.until("2 jobs to print, 18 pieces")
        assert "[3 Press log]" in press
        assert "TEE-BLK-L" in press
        assert "[1 Today]" not in press
        await terminal.press("g")
        await terminal.until("A1/1: 12 good, 0 misprints.")


async def test_the_page_takes_keys_without_a_click(served):
    """Its own script puts the focus into the terminal; nobody gets that script without the link."""
    address = served.public_url + "/page.js"
    assert await status(address) == 401
    assert await status(address, cookies={COOKIE: served.token}) == 200
