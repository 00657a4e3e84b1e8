"""Whether an open SQLite book is still the file at its path.

A connection goes on writing into a file that was deleted, moved or replaced under it, and what is
booked there is lost to everybody else. So each use of a connection asks the file system first: a
file that is gone is a refusal, another one in its place is opened anew. Nothing here reads the
book.
"""

from __future__ import annotations

import os
from typing import Any

from sqlalchemy import Engine, event
from sqlalchemy.exc import DisconnectionError

from stock.errors import BookUnusable

Identity = tuple[int, int]


def identity(path: str) -> Identity | None:
    """Device and number of the file at ``path``; None when none is there."""
    try:
        found = os.stat(path)
    except (FileNotFoundError, NotADirectoryError):
        return None
    except OSError as error:
        raise BookUnusable(f"{path} cannot be looked at: {error.strerror}.") from None
    return found.st_dev, found.st_ino


def keep_to_file(engine: Engine, path: str) -> None:
    """Refuse the engine's connections once the file at ``path`` is gone."""
    opened = False

    @event.listens_for(engine, "do_connect")
    def _on_connecting(*_: Any) -> None:
        if opened and identity(path) is None:  # SQLite would make an empty one
            raise _gone(path)

    @event.listens_for(engine, "connect")
    def _on_connected(_connection: Any, record: Any) -> None:
        nonlocal opened
        opened = True
        record.info["file"] = identity(path)

    @event.listens_for(engine, "checkout")
    def _on_use(_connection: Any, record: Any, _proxy: Any) -> None:
        now = identity(path)
        if now is None:
            raise _gone(path)
        if now != record.info["file"]:
            raise DisconnectionError(f"another file is at {path}")


def _gone(path: str) -> BookUnusable:
    return BookUnusable(
        f"{path} is gone: it was moved or deleted while it was open. Put it back, or restore a "
        f"copy; nothing was booked."
    )
