"""Everything that can go wrong, as one family.

    StockError
    ├── Refused                 the request cannot be done; nothing changed      exit 1
    │   ├── InputFaults         a file or form holds faults, all listed together
    │   ├── ArtworkUnreadable   a picture that cannot be measured
    │   ├── BarcodeUnreadable   a scanned code that cannot be understood
    │   ├── Unknown             a name (item, slot, lot, order …) the book does not have
    │   ├── NotEnough           a movement asks for more than there is
    │   ├── Outdated            the book has moved on since that was decided
    │   └── CannotUndo          the entry was undone already, or later entries rest on it
    ├── WrongUsage              the command was called in a way it does not have  exit 2
    └── BookUnusable            missing, newer, locked or damaged book            exit 3
        └── BookMissing         there is no book at that address yet

Each error carries its facts as attributes and reads as one sentence. Only the doors (command
line, screens) turn them into exit codes and notices.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum


class ExitCode(IntEnum):
    """What the command line answers to the shell."""

    DONE = 0
    REFUSED = 1
    WRONG_USAGE = 2
    BOOK_UNUSABLE = 3
    NEEDS_ATTENTION = 4


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in an input: where it stands, what was found, what was expected.

    ``line`` counts from 1 as a text editor does (a CSV header is line 1); 0 means the whole input.
    """

    line: int
    column: str
    found: str
    expected: str

    def __str__(self) -> str:
        where = f"line {self.line}" if self.line else "file"
        if self.column:
            where += f", {self.column}"
        return f"{where}: found {self.found}, expected {self.expected}"


class StockError(Exception):
    """Base of every error this program raises on purpose."""

    exit_code = ExitCode.REFUSED


class Refused(StockError):
    """The request cannot be done as asked; nothing was changed."""


class InputFaults(Refused):
    """A file or a form holds faults; all of them are reported together."""

    def __init__(self, source: str, faults: Sequence[Fault]) -> None:
        self.source = source
        self.faults = tuple(faults)
        count = len(self.faults)
        lines = "\n".join(f"  {fault}" for fault in self.faults[:50])
        more = f"\n  … and {count - 50} more" if count > 50 else ""
        noun = "fault" if count == 1 else "faults"
        super().__init__(f"{source}: {count} {noun}, nothing was taken.\n{lines}{more}")


class ArtworkUnreadable(Refused):
    """A picture that cannot be measured."""

    def __init__(self, path: str, why: str) -> None:
        self.path, self.why = path, why
        super().__init__(f"{path}: {why}")


class BarcodeUnreadable(Refused):
    """A scanned code that cannot be understood."""

    def __init__(self, code: str, why: str) -> None:
        self.code, self.why = code, why
        shown = "".join(c if c.isprintable() else f"<{ord(c):02X}>" for c in code[:80])
        super().__init__(f"Code {shown!r} was not understood: {why}")


class Unknown(Refused):
    """The book has no such thing."""

    def __init__(self, what: str, name: str, near: Sequence[str] = ()) -> None:
        self.what, self.name, self.near = what, name, tuple(near)
        hint = f" Did you mean {', '.join(near)}?" if near else ""
        super().__init__(f"There is no {what} {name!r} in the book.{hint}")


class NotEnough(Refused):
    """A movement asks for more than its place holds."""

    def __init__(self, item: str, place: str, asked: str, left: str) -> None:
        self.item, self.place, self.asked, self.left = item, place, asked, left
        super().__init__(f"{place} holds {left} of {item}; {asked} was asked for.")


class CannotUndo(Refused):
    """The entry was undone already, or later entries rest on it."""

    def __init__(self, entry: int, why: str) -> None:
        self.entry, self.why = entry, why
        super().__init__(f"Entry {entry} cannot be undone: {why}")


class Outdated(Refused):
    """The book has moved on since that was decided."""

    def __init__(self, what: str, then: str, now: str) -> None:
        self.what, self.then, self.now = what, then, now
        super().__init__(
            f"{what}: {now}, no longer {then}: that changed meanwhile. Nothing was booked."
        )


class WrongUsage(StockError):
    """The command was called in a way it does not have."""

    exit_code = ExitCode.WRONG_USAGE


class BookUnusable(StockError):
    """The book is missing, newer than this program, locked or damaged."""

    exit_code = ExitCode.BOOK_UNUSABLE


class BookMissing(BookUnusable):
    """There is no book at that address yet."""

    def __init__(self, shown: str) -> None:
        self.shown = shown
        super().__init__(f"There is no book at {shown}. Create one with: stock start")
