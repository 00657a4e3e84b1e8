"""Paths as people type them into a form: read, and looked over while they are typed.

Only the file system is asked, never the book; what cannot be looked at is said in a sentence.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path


def typed_path(text: str) -> Path:
    """The path that was typed or dropped into the terminal, which may put it in quotes.

    Raises:
        ValueError: It names the home of nobody here.

    >>> str(typed_path("'orders of May.csv'"))
    'orders of May.csv'
    """
    text = text.strip()
    if len(text) > 1 and text[0] == text[-1] and text[0] in "'\"":
        text = text[1:-1]
    path = Path(text)
    try:
        return path.expanduser()
    except RuntimeError:
        raise ValueError(f"nobody here has the home folder {path.parts[0]}.") from None


def file_to_read(text: str) -> str | None:
    """What is wrong with a path that is to be read; None when a file is there."""
    if not text:
        return "nothing stands here yet."
    return _looked_at(text, _no_file)


def file_to_write(endings: Sequence[str]) -> Callable[[str], str | None]:
    """A check: the path ends with one of ``endings`` and its folder is there."""
    named = f"{', '.join(endings[:-1])} or {endings[-1]}" if len(endings) > 1 else endings[0]

    def check(text: str) -> str | None:
        def no_place(path: Path) -> str | None:
            if path.suffix.lower() not in endings:
                return f"it ends with {named}."
            if path.is_dir() or not path.absolute().parent.is_dir():
                return f"there is no folder {path.absolute().parent}."
            return None

        return _looked_at(text, no_place)

    return check


def _no_file(path: Path) -> str | None:
    if path.is_dir():
        return f"{path} is a folder; expected a file."
    return None if path.is_file() else f"there is no file {path}."


def _looked_at(text: str, look: Callable[[Path], str | None]) -> str | None:
    try:
        return look(typed_path(text))
    except ValueError as error:
        return str(error)
    except OSError as error:
        return f"that cannot be looked at: {error.strerror or error}."
