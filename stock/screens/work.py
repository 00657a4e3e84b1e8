"""Work with the book off the UI thread, its answer or refusal back on it.

Only sentences come back from what the book refuses. A worker whose screen has gone says nothing.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from contextlib import suppress
from typing import TYPE_CHECKING, Any, TypeVar, cast

from textual.dom import DOMNode
from textual.worker import get_current_worker

from stock.errors import StockError

if TYPE_CHECKING:
    from textual.widget import Widget

    from stock.screens.app import StockApp
    from stock.shop import Book

Result = TypeVar("Result")


def shop_app(node: DOMNode) -> StockApp:
    """The app a widget belongs to, by its own type."""
    from stock.screens.app import StockApp

    app = node.app
    assert isinstance(app, StockApp)
    return app


def sentence(error: StockError | OSError) -> str:
    """What was refused, for people: a file's trouble without its number.

    >>> sentence(FileNotFoundError(2, "No such file or directory", "sheet.pdf"))
    'sheet.pdf: No such file or directory.'
    """
    if isinstance(error, OSError) and error.strerror:
        where = f"{error.filename}: " if error.filename else ""
        return f"{where}{error.strerror}."
    return str(error)


def in_thread(
    owner: Widget,
    work: Callable[[Book], Result],
    then: Callable[[Result], Any],
    refused: Callable[[str], Any],
    *,
    group: str,
    exclusive: bool = False,
) -> None:
    """Run ``work`` on the open book in a thread, then ``then`` or ``refused`` on the UI thread.

    Args:
        exclusive: A newer work of the group makes this one's answer worthless (reading); never so
            when something is written. Leaving waits for what is written, not for what is read.
    """
    app = shop_app(owner)
    if app.book is None:
        app.when_open(
            lambda: in_thread(owner, work, then, refused, group=group, exclusive=exclusive)
        )
        return
    book = app.book

    def hand_over(act: Callable[[], Any]) -> None:
        if owner.is_attached and not owner._pruning:  # its parts may have gone before it
            act()

    def write() -> None:
        worker = get_current_worker()
        try:
            found = work(book)
        except (StockError, OSError) as error:
            said = app.told(sentence(error))
            if not worker.is_cancelled:
                app.call_from_thread(hand_over, lambda: refused(said))
            return
        if not worker.is_cancelled:
            app.call_from_thread(hand_over, lambda: then(found))

    async def read() -> Any:
        try:
            found = await _in_daemon(work, book)
        except (StockError, OSError) as error:
            said = app.told(sentence(error))
            hand_over(lambda: refused(said))
            return None
        hand_over(lambda: then(found))
        return None

    if exclusive:
        owner.run_worker(read, exclusive=True, group=group)
    else:
        owner.run_worker(write, thread=True, group=group)


async def _in_daemon(work: Callable[[Book], Result], book: Book) -> Result:
    """What ``work`` finds, from a thread that the end of the program does not wait for."""
    loop = asyncio.get_running_loop()
    answer: asyncio.Future[Result] = loop.create_future()

    def give(found: Result | None, error: BaseException | None) -> None:
        if answer.done():
            return  # a newer work has begun, nobody waits for this one
        if error is not None:
            answer.set_exception(error)
        else:
            answer.set_result(cast(Result, found))

    def run() -> None:
        found, wrong = None, None
        try:
            found = work(book)
        except BaseException as error:
            wrong = error
        with suppress(RuntimeError):  # the app was left meanwhile
            loop.call_soon_threadsafe(give, found, wrong)

    threading.Thread(target=run, name="reading", daemon=True).start()
    return await answer
