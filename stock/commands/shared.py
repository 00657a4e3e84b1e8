"""What commands share: options declared once, the open book, output as JSON or as a table."""

from __future__ import annotations

import json
import os
import shutil
import sys
from collections.abc import Callable, Iterable, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from stock.errors import WrongUsage

if TYPE_CHECKING:
    from stock.shop import Book

BookOption = Annotated[
    str | None,
    typer.Option(
        "--book",
        metavar="PATH_OR_URL",
        help="The book: a file, or postgresql://… (default: STOCK_BOOK, else the user's data).",
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]
OnOption = Annotated[
    str | None,
    typer.Option("--on", metavar="DATE", help="Business day, as 2026-11-25 (default: today)."),
]

_book: dict[str, str | None] = {"where": None}


def remember_book(where: str | None) -> None:
    """Keep the global ``--book`` for the command that follows."""
    _book["where"] = where


def book_address() -> str:
    """The book's path or URL: ``--book``, else the station's default."""
    from stock.shop.station import default_book

    return _book["where"] or default_book()


def reading_book() -> Book:
    """The book, which must exist: a command that reads never creates one."""
    from stock.shop import open_book

    return open_book(book_address())


def making_book() -> Book:
    """The book, created when there is none."""
    from stock.shop import create_book

    return create_book(book_address())


def day_of(text: str | None, option: str = "--on") -> date:
    """A business day from an option; none given means today."""
    from stock.clock import today

    return today() if text is None else parse_day(text, option)


def parse_day(text: str, option: str) -> date:
    """An ISO date, or any other way of writing one that has a single reading.

    Raises:
        WrongUsage: Not a date, or two readings.
    """
    from stock.clock import today
    from stock.exchange.written_dates import read_date

    try:
        return read_date(text, on=today())
    except ValueError as error:
        raise WrongUsage(f"{option} {text!r}: expected {error}.") from None


def length_cm(text: str | None, option: str) -> float | None:
    """A length from an option: cm, or with its unit (``12 in``, ``300 mm``); none stays none.

    Raises:
        WrongUsage: Not a length.
    """
    from stock.units import parse_length_cm

    if text is None:
        return None
    try:
        return parse_length_cm(text)
    except ValueError as error:
        raise WrongUsage(f"{option}: {error}.") from None


def grams_of(text: str, option: str) -> float:
    """A mass from an option: g, or with its unit (``0,75 kg``, ``1.5 lb``).

    Raises:
        WrongUsage: Not a mass.
    """
    from stock.units import from_thousandths, parse_amount

    try:
        return from_thousandths(parse_amount(text, "g"))
    except ValueError as error:
        raise WrongUsage(f"{option}: {error}.") from None


def number_of(text: str | None, option: str) -> float | None:
    """A number from an option, with a decimal point or comma; none stays none.

    Raises:
        WrongUsage: Not a number, or one with two readings.
    """
    from stock.units import parse_decimal

    if text is None:
        return None
    try:
        return float(parse_decimal(text))
    except ValueError as error:
        raise WrongUsage(f"{option}: {error}.") from None


def amount_writer() -> Callable[[float, str], str]:
    """How this shop shows amounts of a base unit: metric or US, by its settings."""
    from stock.shop.settings import load_settings
    from stock.units import shown_amount

    system = load_settings()["units"]
    return lambda amount, unit: shown_amount(amount, unit, system)


def say(text: str) -> None:
    """Talk to the person: stderr, so that stdout stays data."""
    typer.echo(_harmless(text), err=True)


def tell(text: str = "") -> None:
    """Lines of the answer on stdout; nothing in them steers a terminal."""
    typer.echo(_harmless(text))


def _harmless(text: str) -> str:
    if text.isprintable():
        return text
    from stock.exchange.safe_text import safe_text

    return "\n".join(map(safe_text, text.split("\n")))


def show_json(document: Any) -> None:
    """One JSON document on stdout; what would steer a terminal is escaped in its strings."""
    text = json.dumps(document, indent=2, ensure_ascii=False, default=_plain)
    if not text.isascii() or "\x7f" in text:
        text = "".join(c if c.isprintable() or c == "\n" else json.dumps(c)[1:-1] for c in text)
    typer.echo(text)


def _plain(value: Any) -> Any:
    if hasattr(value, "to_json"):
        return value.to_json()
    if isinstance(value, date):
        return value.isoformat()
    if hasattr(value, "item"):
        return value.item()
    raise TypeError(f"{type(value).__name__} has no JSON form")


def columns() -> int:
    """Columns of the terminal on stdout; as many as a table may want where it is piped."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else PIPED_COLUMNS


PIPED_COLUMNS = 240


def show_table(
    header: Sequence[str],
    rows: Iterable[Sequence[Any]],
    *,
    right: Sequence[str] = (),
    title: str = "",
) -> None:
    """A table on stdout: ruled and coloured on a terminal, plain aligned text when piped.

    Colour sets head and rules apart and means nothing by itself; NO_COLOR leaves it out.
    """
    from rich.box import SIMPLE_HEAD
    from rich.console import Console
    from rich.measure import Measurement
    from rich.table import Table
    from rich.text import Text

    from stock.exchange.safe_text import safe_text

    terminal = sys.stdout.isatty()
    table = Table(
        box=SIMPLE_HEAD if terminal else None,
        header_style="bold cyan" if terminal else "",
        border_style="cyan",
        pad_edge=False,
        show_edge=False,
    )
    for name in header:
        table.add_column(name, justify="right" if name in right else "left", overflow="fold")
    for row in rows:
        table.add_row(*(Text(safe_text(str(cell))) for cell in row))
    console = Console(file=sys.stdout, width=None if terminal else PIPED_COLUMNS, highlight=False)
    endless = console.options.update(max_width=10_000)
    if terminal and Measurement.get(console, endless, table).maximum > console.width:
        # Columns move together and heads take two lines before a code or a date is broken.
        table.padding = (0, 0)
        for column in table.columns:
            column.header = str(column.header).replace(" ", "\n")
    if title:
        console.print(Text(safe_text(title), style="bold"))
    console.print(table)


def write_file(path: Path, content: bytes) -> None:
    """Write a file whole: a reader never sees half of it.

    Raises:
        WrongUsage: The path is a folder, or its folder is missing.
    """
    if path.is_dir():
        raise WrongUsage(f"--out {path} is a folder; expected a file.")
    if not path.parent.is_dir():
        raise WrongUsage(f"--out {path}: there is no folder {path.parent}.")
    part = path.with_name(f".{path.name}.part")
    part.write_bytes(content)
    part.replace(path)


def with_progress(label: str, work: Callable[[Callable[[int, int], None]], Any]) -> Any:
    """Run ``work(report)`` with a progress bar on stderr when it is a terminal."""
    if not sys.stderr.isatty():
        return work(lambda _done, _total: None)
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task(label, total=None)
        return work(lambda done, total: progress.update(task, completed=done, total=total))


def open_screens(address: str | None = None) -> None:
    """Open the terminal UI on the book, on a terminal or for a browser.

    Raises:
        WrongUsage: Nothing that shows screens is on the other side.
    """
    on_terminal = sys.stdin.isatty() and sys.stdout.isatty()
    if not on_terminal and "TEXTUAL_DRIVER" not in os.environ:  # `stock serve` names a driver
        raise WrongUsage(
            "The terminal UI needs a terminal; without one use a command such as "
            "`stock reorder` (`stock --help` lists them)."
        )
    if on_terminal and sys.stderr is not None and not sys.stderr.isatty():
        raise WrongUsage(
            "The terminal UI draws on standard error, which leads elsewhere here; leave it on "
            "the terminal."
        )
    from stock.screens.app import run

    run(address or book_address())
