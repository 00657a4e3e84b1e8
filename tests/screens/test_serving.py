"""``stock serve``: nobody in without the link; nothing of the book's address on the page."""

from __future__ import annotations

import asyncio
import os
import signal
import socket
import subprocess
import sys
import time

import aiohttp
import pytest
from aiohttp import web

from stock.screens.serving import COOKIE, GuardedServer
from tests.screens.conftest import press
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


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://["},
        {"Origin": "null"},
        {"Origin": "http://shop.example:80"},
        {"Cookie": f"{COOKIE}=\udcff\udcfe"},
    ],
)
async def test_headers_that_are_nonsense_are_turned_away(served, headers):
    """Raw bytes on the socket: a client library would not send them."""
    own = {"Cookie": f"{COOKIE}={served.token}"} | headers
    lines = [f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\nConnection: close"]
    lines += [f"{name}: {value}" for name, value in own.items()]
    reader, writer = await asyncio.open_connection("127.0.0.1", served.port)
    writer.write(("\r\n".join(lines) + "\r\n\r\n").encode(errors="surrogateescape"))
    first = (await reader.readline()).decode()
    writer.close()
    assert first.split()[1] in ("401", "403"), first


async def test_another_name_of_this_machine_leads_to_the_page_s_own(served):
    """The page, its socket and its cookie are for one name: a cookie is not sent to another."""
    jar = aiohttp.CookieJar(unsafe=True)
    other = served.link.replace("127.0.0.1", "LocalHost")
    async with aiohttp.ClientSession(cookie_jar=jar) as client, client.get(other) as answer:
        assert answer.status == 200
        assert str(answer.url) == f"http://127.0.0.1:{served.port}/"
    wrong = f"http://localhost:{served.port}/?token=wrong"
    assert await status(wrong, allow_redirects=False) == 401


def test_at_port_80_the_page_s_name_is_the_one_browsers_send():
    server = GuardedServer("book.sqlite", "127.0.0.1", 80, "t")
    assert server.link == "http://127.0.0.1/?token=t"
    assert {"127.0.0.1", "127.0.0.1:80", "localhost"} <= server.names


def serve(book_file, *words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "stock", "--book", str(book_file), "serve", *words]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)


def test_no_link_is_given_for_a_port_that_is_somebody_else_s(book_file):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        done = serve(book_file, "--port", str(port))
    assert done.returncode == 1
    assert "token" not in done.stdout
    assert done.stderr == (
        f"stock: Port {port} is taken by another program; --port names another.\n"
    )


def test_an_address_of_another_machine_is_a_sentence(book_file):
    """203.0.113.7 is of a block kept for documentation (RFC 5737)."""
    done = serve(book_file, "--host", "203.0.113.7", "--port", str(free_port()))
    assert done.returncode == 1
    assert "203.0.113.7 is no address of this machine" in done.stderr
    assert "token" not in done.stdout


@pytest.mark.parametrize("host", ["0.0.0.0", "::"])
def test_every_address_at_once_is_refused(book_file, host):
    done = serve(book_file, "--host", host)
    assert done.returncode == 2
    assert "expected the one address or name of this machine" in done.stderr


async def test_refusals_in_a_browser_name_no_folder_of_this_machine(opened, book_file):
    async with opened() as pilot:
        for served, named in ((True, False), (False, True)):
            pilot.app.served = served
            os.rename(book_file, book_file.with_name("away.sqlite"))
            await press(pilot, "4", "ctrl+r")
            said = str(pilot.app.screen.query_one("#said").render())
            assert "book.sqlite is gone" in said
            assert (str(book_file.parent) in said) is named
            os.rename(book_file.with_name("away.sqlite"), book_file)
            await press(pilot, "ctrl+r")


async def test_ctrl_c_ends_soon_while_a_page_is_open(book_file, tmp_path):
    """A page that stays open keeps the server for a minute otherwise."""
    words = [*(sys.executable, "-m", "stock", "--book", str(book_file)), "serve"]
    with subprocess.Popen(
        [*words, "--port", str(free_port())], stdout=subprocess.PIPE, text=True
    ) as server:
        assert server.stdout is not None
        link = next(line.strip() for line in server.stdout if "http://" in line)
        async with CLIENTS["socket"](link, tmp_path / "profile") as terminal:
            await terminal.until("need you")
            begun = time.monotonic()
            server.send_signal(signal.SIGINT)
            await asyncio.to_thread(server.wait, 60)
        assert time.monotonic() - begun < 15
    assert server.returncode == 0
