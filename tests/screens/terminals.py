"""Two ways to look at the served screens: a plain terminal of letters, and a real browser.

The plain one reads what the socket carries and keeps the letters where they are written. The
browser is a Chromium, asked over its own DevTools protocol: what stands in the terminal of the
page is read from there, keys are pressed as a keyboard would.
"""

from __future__ import annotations

import asyncio
import re
import shutil
import subprocess
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from itertools import count
from pathlib import Path
from typing import Any

import aiohttp

PATIENCE = 60.0
"""Seconds in which words must appear, on the slowest machine."""
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
PARTS = re.compile(
    r"\x1b\[([0-9;?<>=]*)([@-~])|\x1b\][^\x07\x1b]*(?:\x07|\x1b\\)|\x1b[^\[\]]|([\x00-\x1f])|([^\x00-\x1f]+)"
)
"""A control sequence, an operating system command, another escape, a control, text (ECMA-48)."""


class Letters:
    """A terminal that knows where letters stand and nothing of colours."""

    def __init__(self, width: int, height: int) -> None:
        self.width, self.height = width, height
        self.cells = [[" "] * width for _ in range(height)]
        self.x = self.y = 0
        self.rest = ""

    def write(self, text: str) -> None:
        """Take what a program writes."""
        text = self.rest + text
        cut = text.rfind("\x1b")
        self.rest = text[cut:] if cut >= 0 and not PARTS.match(text, cut) else ""
        for part in PARTS.finditer(text[: len(text) - len(self.rest)]):
            numbers, kind, control, letters = part.groups()
            if kind == "H":
                row, _, column = numbers.partition(";")
                self.y, self.x = int(row or 1) - 1, int(column or 1) - 1
            elif kind == "J":
                self.cells = [[" "] * self.width for _ in range(self.height)]
            elif control == "\r":
                self.x = 0
            elif control == "\n":
                self.y += 1
            for letter in letters or "":
                if 0 <= self.y < self.height and 0 <= self.x < self.width:
                    self.cells[self.y][self.x] = letter
                self.x += 1

    def shown(self) -> str:
        """What stands on it, line by line."""
        return "\n".join("".join(line).rstrip() for line in self.cells)


class SocketTerminal:
    """The served screens over their socket, without a browser."""

    def __init__(self, socket: aiohttp.ClientWebSocketResponse, letters: Letters) -> None:
        self.socket, self.letters = socket, letters

    async def until(self, words: str) -> str:
        """Read on until the words stand there; what stands then."""
        async with asyncio.timeout(PATIENCE):
            while words not in self.letters.shown():
                message = await self.socket.receive()
                assert message.type in (aiohttp.WSMsgType.BINARY, aiohttp.WSMsgType.TEXT), message
                if message.type is aiohttp.WSMsgType.BINARY:
                    self.letters.write(message.data.decode("utf-8"))
        return self.letters.shown()

    async def press(self, key: str) -> None:
        """Press a key with a letter."""
        await self.socket.send_json(["stdin", key])


@asynccontextmanager
async def socket_terminal(link: str, _place: Path) -> AsyncIterator[SocketTerminal]:
    """Open the link as a browser does, without one."""
    jar = aiohttp.CookieJar(unsafe=True)
    async with aiohttp.ClientSession(cookie_jar=jar) as client:
        async with client.get(link) as page:
            found = re.search(r'data-session-websocket-url="([^"]+)"', await page.text())
        assert found is not None
        async with client.ws_connect(f"{found[1]}?width=80&height=24") as socket:
            yield SocketTerminal(socket, Letters(80, 24))


class BrowserTerminal:
    """The served page in a Chromium."""

    READ = """(() => { const all = window.theTerminal ? window.theTerminal.buffer.active : null;
        const lines = [];
        for (let n = 0; all && n < all.length; n++) lines.push(all.getLine(n).translateToString());
        return lines.join("\\n"); })()"""
    KEEP = """Object.defineProperty(Object.prototype, "terminal", { configurable: true,
        set(value) { window.theTerminal = value; Object.defineProperty(this, "terminal",
            { value, writable: true, configurable: true, enumerable: true }); } });"""
    """The page's own script keeps its terminal to itself: seen when it is set."""

    def __init__(self, socket: aiohttp.ClientWebSocketResponse) -> None:
        self.socket, self.numbers = socket, count(1)

    async def ask(self, method: str, **parameters: Any) -> dict[str, Any]:
        """One question to the browser, its answer."""
        number = next(self.numbers)
        await self.socket.send_json({"id": number, "method": method, "params": parameters})
        async with asyncio.timeout(PATIENCE):
            async for message in self.socket:
                told = message.json()
                if told.get("id") == number:
                    assert "error" not in told, told
                    return dict(told["result"])
        raise AssertionError("the browser has gone")

    async def until(self, words: str) -> str:
        """Look until the words stand in the page's terminal; what stands then."""
        text = ""
        try:
            async with asyncio.timeout(PATIENCE):
                while words not in text:
                    await asyncio.sleep(0.1)
                    answer = await self.ask("Runtime.evaluate", expression=self.READ)
                    text = str(answer["result"].get("value", ""))
        except TimeoutError:
            raise AssertionError(f"{words!r} never stood in the browser:\n{text}") from None
        return text

    async def press(self, key: str) -> None:
        """Press a key with a letter, as a keyboard does."""
        await self.ask("Input.dispatchKeyEvent", type="keyDown", key=key, text=key)
        await self.ask("Input.dispatchKeyEvent", type="keyUp", key=key)


@asynccontextmanager
async def browser_terminal(link: str, place: Path) -> AsyncIterator[BrowserTerminal]:
    """Open the link in a Chromium of its own."""
    assert CHROMIUM is not None
    flags = (
        *("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-quic"),
        *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
        *("--disable-dev-shm-usage", f"--user-data-dir={place}", "--remote-debugging-port=0"),
        *("--window-size=1000,700", "about:blank"),
    )
    silent = subprocess.DEVNULL
    browser = subprocess.Popen([CHROMIUM, *flags], stdout=silent, stderr=silent)
    try:
        said = place / "DevToolsActivePort"
        async with asyncio.timeout(PATIENCE):
            while not said.exists() or not said.read_text().count("\n"):
                await asyncio.sleep(0.05)
        port = said.read_text().split("\n")[0]
        async with aiohttp.ClientSession() as client:
            async with client.get(f"http://127.0.0.1:{port}/json/list") as answer:
                pages = [one for one in await answer.json() if one["type"] == "page"]
            async with client.ws_connect(
                pages[0]["webSocketDebuggerUrl"], max_msg_size=0
            ) as socket:
                page = BrowserTerminal(socket)
                await page.ask("Page.enable")
                await page.ask("Page.addScriptToEvaluateOnNewDocument", source=page.KEEP)
                await page.ask("Page.navigate", url=link)
                yield page
    finally:
        browser.terminate()
        browser.wait(timeout=20)


CLIENTS = {"socket": socket_terminal}
if CHROMIUM is not None:
    CLIENTS["browser"] = browser_terminal  # type: ignore[assignment]
"""The socket everywhere; a browser where there is one."""
