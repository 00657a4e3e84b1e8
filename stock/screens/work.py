"""Work with the book off the UI thread, its answer or refusal back on it.

Only sentences come back from what the book refuses. A worker whose screen has gone says nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

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
            when something is written.
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

    def run() -> None:
        worker = get_current_worker()
        try:
            found = work(book)
        except (StockError, OSError) as error:
            said = sentence(error)
            if not worker.is_cancelled:
                app.call_from_thread(hand_over, lambda: refused(said))
            return
        if not worker.is_cancelled:
            app.call_from_thread(hand_over, lambda: then(found))

    owner.run_worker(run, thread=True, exclusive=exclusive, group=group)
