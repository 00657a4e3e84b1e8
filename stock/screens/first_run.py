"""Where there is no book yet: make one, or look around an invented shop; taking a file in."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from stock.screens.dialogs import Answers, Field, Form, Question, needed, one_of
from stock.screens.files import file_to_read, typed_path

if TYPE_CHECKING:
    from datetime import date

    from stock.shop import Book
    from stock.shop.imports import Imported

KINDS = (
    *("suppliers", "items", "packs", "printers", "modes", "artworks", "orders", "purchases"),
    *("deliveries", "prints", "counts", "weighings", "jobink"),
)
"""Kinds of file in the order in which they build on each other."""

NOTES = 3
"""Of an import, told on the line below: more than these are not read there."""


def welcome(said: str) -> Question:
    """What would you like, where there is no book?"""
    return Question(
        f"{said}\n\nWelcome. What would you like?",
        (
            ("c", "create an empty book there, and be led from there"),
            ("d", "build an invented shop to look around in (some 20 seconds)"),
            ("q", "leave"),
        ),
    )


def build_shop(day: date, say: Callable[[str], None]) -> Book:
    """The invented shop in its own folder; nothing of anybody's is touched."""
    from stock.shop.demo import build_demo
    from stock.shop.station import demo_folder

    return build_demo(demo_folder(), day, say=say)


def import_form(day: date, kind: str = "") -> Form:
    """Ask which file of which kind is to be taken in, and take it."""

    def report(done: int, _total: int) -> None:
        form.busy_with(f"{done:,} rows so far …")

    form = Form(
        "Take in a file",
        (
            Field("kind", "Kind", kind, ", ".join(KINDS[:4]) + " …", KINDS, _kind),
            Field("file", "File", hint="path of a CSV or XLSX", check=file_to_read),
            Field(
                *("only_try", "Only try it", "no", "yes: check it, take nothing"),
                choices=("yes", "no"),
                check=one_of(("yes", "no")),
            ),
        ),
        lambda book, answers: _take(book, answers, day, report),
        note=f"Kinds, in the order they build on each other: {', '.join(KINDS)}. "
        "stock import --template items shows what a file looks like. Whole or not at all; "
        "the same file twice changes nothing.",
    )
    return form


def _kind(text: str) -> str | None:
    return needed(text) or one_of(KINDS)(text)


def _take(book: Book, answers: Answers, day: date, report: Callable[[int, int], None]) -> Imported:
    from stock.shop.imports import import_rows
    from stock.shop.station import who

    return import_rows(
        book,
        answers["kind"],
        typed_path(answers["file"]),
        on=day,
        dry_run=answers["only_try"] == "yes",
        who=who(),
        on_progress=report,
    )


def import_sentence(done: Imported) -> str:
    """What an import did."""
    rows = f"{done.rows} row" + ("" if done.rows == 1 else "s")
    counts = f"{done.new} new, {done.changed} changed, {done.known} known"
    notes = [note if note.endswith(".") else f"{note}." for note in done.notes[:NOTES]]
    if len(done.notes) > NOTES:
        notes.append(f"{len(done.notes) - NOTES} more notes.")
    return " ".join([f"{done.kind}: {rows}, {counts}.", *notes])
