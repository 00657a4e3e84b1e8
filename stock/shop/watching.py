"""A folder looked after: artwork is measured and tied, logs and exports are taken, as they land.

A file is taken once it has stopped growing. Taking a file twice changes nothing, so that starting
anew over a full folder is safe; a file that is refused is named and left where it is, and tried
again when it changes. Nothing is moved or deleted.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from threading import Event
from typing import Any, Final

from stock.book.opening import Book
from stock.errors import BookUnusable, Refused, StockError
from stock.exchange.watch_rules import ARTWORK, RULES_FILE, FileRule, load_rules, what_is

QUIET_SECONDS: Final = 1.0
"""A file that has not changed for so long is taken to be whole."""
DEEPEST: Final = 8

Stamp = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of one file: ``kind``, a sentence, and whether it was taken."""

    file: str
    kind: str
    taken: bool
    said: str
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Stable keys."""
        return {
            "file": self.file,
            "kind": self.kind,
            "taken": self.taken,
            "said": self.said,
            "notes": list(self.notes),
        }


@dataclass
class Watch:
    """One folder, one book. ``today`` answers the business day, since a watch runs for months."""

    book: Book
    folder: Path
    today: Callable[[], date]
    who: str = ""
    rules: tuple[FileRule, ...] = ()
    _seen: dict[Path, Stamp] = field(default_factory=dict)

    @classmethod
    def of(cls, book: Book, folder: Path, today: Callable[[], date], *, who: str = "") -> Watch:
        """A watch with the folder's own rules.

        Raises:
            Refused: Not a folder.
            InputFaults: Rules with faults.
        """
        if not folder.is_dir():
            raise Refused(f"{folder} is not a folder.")
        return cls(book, folder, today, who, load_rules(folder / RULES_FILE))

    def files(self) -> Iterator[Path]:
        """Files in and below the folder that are something to us, orders before the rest."""
        found = []
        for folder, names, files in os.walk(self.folder):
            depth = len(Path(folder).relative_to(self.folder).parts)
            names[:] = sorted(n for n in names if not n.startswith(".") and depth < DEEPEST)
            found += [Path(folder) / name for name in files]
        ranked = [(rule, path) for path in found if (rule := what_is(path, self.rules))]
        yield from (path for _, path in sorted(ranked, key=_rank))

    def take_all(self) -> Iterator[Taken]:
        """Take every file that is new or changed since it was last taken."""
        for path in list(self.files()):
            taken = self.take(path)
            if taken is not None:
                yield taken

    def take(self, path: Path) -> Taken | None:
        """Take one file; None when it is nothing to us or has not changed.

        Raises:
            BookUnusable: The book is locked or gone; the file stays to be taken.
        """
        rule = what_is(path, self.rules)
        stamp = stamp_of(path)
        if rule is None or stamp is None or self._seen.get(path) == stamp:
            return None
        name = str(path.relative_to(self.folder)) if path.is_relative_to(self.folder) else str(path)
        try:
            said, notes = self._taken(path, rule)
        except BookUnusable:
            raise
        except StockError as error:
            self._seen[path] = stamp
            return Taken(name, rule.kind, False, str(error))
        except OSError as error:
            return Taken(name, rule.kind, False, f"{path}: {error.strerror or error}")
        self._seen[path] = stamp
        return Taken(name, rule.kind, True, said, tuple(notes))

    def _taken(self, path: Path, rule: FileRule) -> tuple[str, list[str]]:
        if rule.kind == ARTWORK:
            from stock.shop.artwork_landing import land_artwork

            landed = land_artwork(self.book, path)
            return str(landed), list(landed.notes)
        from stock.shop.imports import import_rows

        done = import_rows(
            self.book, rule.kind, path, on=self.today(), columns=rule.columns, who=self.who
        )
        changed = f", {done.changed} changed" if done.changed else ""
        said = f"{rule.kind}: {done.rows} rows, {done.new} new{changed}, {done.known} known"
        return said, done.notes

    def run(
        self,
        told: Callable[[Taken], None],
        *,
        stop: Event | None = None,
        poll: bool = False,
        quiet_seconds: float = QUIET_SECONDS,
    ) -> None:
        """Take what is there, then whatever lands, until ``stop`` is set or Ctrl-C.

        ``poll`` looks again and again: for network folders that announce nothing.
        """
        from watchfiles import watch

        for taken in self.take_all():
            told(taken)
        waiting: dict[Path, tuple[Stamp, float]] = {}
        for changes in watch(
            self.folder,
            stop_event=stop,
            rust_timeout=max(50, int(quiet_seconds * 500)),
            yield_on_timeout=True,
            force_polling=poll or None,
            raise_interrupt=True,
        ):
            for _, name in changes:
                path = Path(name)
                stamp = stamp_of(path)
                if stamp is not None and what_is(path, self.rules):
                    waiting[path] = (stamp, time.monotonic())
            for path in self._settled(waiting, quiet_seconds):
                try:
                    taken_now = self.take(path)
                except BookUnusable as error:
                    told(Taken(path.name, "", False, f"{error} It will be tried again."))
                    continue
                del waiting[path]
                if taken_now is not None:
                    told(taken_now)

    def _settled(
        self, waiting: dict[Path, tuple[Stamp, float]], quiet_seconds: float
    ) -> list[Path]:
        """Files that stopped growing, orders before artwork; files gone are forgotten."""
        now = time.monotonic()
        settled = []
        for path, (stamp, since) in list(waiting.items()):
            current = stamp_of(path)
            if current is None:
                del waiting[path]
            elif current != stamp:
                waiting[path] = (current, now)
            elif now - since >= quiet_seconds:
                settled.append(path)
        rules = [(what_is(path, self.rules), path) for path in settled]
        return [path for _, path in sorted(((r, p) for r, p in rules if r), key=_rank)]


def stamp_of(path: Path) -> Stamp | None:
    """(size, time of change) of a file; None when there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return (found.st_size, found.st_mtime_ns) if path.is_file() else None


_FIRST: Final = (
    *("suppliers", "items", "packs", "printers", "modes", "artworks", "orders", ARTWORK),
    *("purchases", "deliveries", "prints", "jobink", "weighings", "counts"),
)


def _rank(found: tuple[FileRule, Path]) -> tuple[int, str]:
    """What others rest on comes first."""
    return _FIRST.index(found[0].kind), str(found[1])
