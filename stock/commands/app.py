"""The command line's door: global options, the groups of commands, errors into exit codes.

Only light modules are imported here; a command imports what it needs when it runs, so that
``stock --help`` and the everyday commands stay quick.
"""

from __future__ import annotations

import gc
import os
import signal
import sys
import threading
from types import FrameType
from typing import Annotated

import typer

from stock import __version__
from stock.commands import (
    calibrating,
    clearing,
    forecasting,
    importing,
    keeping,
    labels,
    machines,
    measuring,
    money,
    moving,
    papers,
    planning,
    purchasing,
    reordering,
    replaying,
    righting,
    serving,
    setting,
    starting,
    stockroom,
    tracing,
    watching,
    weekly,
)
from stock.commands.ending import leave
from stock.commands.lazy_group import LazyGroup, registry
from stock.commands.shared import BookOption, remember_book, say
from stock.errors import ExitCode, StockError, WrongUsage

gc.set_threshold(50_000, 20, 20)
"""What is made while starting lives to the end: looking through it again and again takes a tenth
of a short command's time (measured on ``stock receive``)."""
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
"""Thousands of small products wait longer for a second thread than they take: on two busy cores
the weekly list took twice as long with threads (measured). Set before numpy is first imported."""

app = typer.Typer(
    name="stock",
    cls=LazyGroup,
    help="Ink, pretreat and blanks of a garment print shop: what is here, what is needed, "
    "what to order, what expires.",
    no_args_is_help=False,
    invoke_without_command=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"], "max_content_width": 100},
)

STOPPED = (128 + signal.SIGINT, 128 + signal.SIGTERM)
"""What a shell is told by a command that was interrupted or asked to end."""

GROUPS = (
    starting,
    importing,
    moving,
    stockroom,
    machines,
    righting,
    measuring,
    calibrating,
    planning,
    reordering,
    purchasing,
    clearing,
    forecasting,
    replaying,
    money,
    tracing,
    labels,
    papers,
    weekly,
    watching,
    keeping,
    setting,
    serving,
)
for group in GROUPS:
    group.register(registry)


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"stock {__version__}")
        raise typer.Exit


@app.callback()
def begin(
    context: typer.Context,
    book: BookOption = None,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """Ink, pretreat and blanks of a print shop: what is here, what is needed, what to order.

    Without a command the terminal UI opens.

    Example:

    \b
        stock --book shop.sqlite reorder
    """
    remember_book(book)
    if context.invoked_subcommand is None:
        from stock.commands.shared import open_screens

        open_screens()


def _refuse_what_is_no_text(words: list[str]) -> None:
    """Bytes that are not UTF-8 reach Python as lone surrogates, which no database takes."""
    for word in words:
        if any("\ud800" <= c <= "\udfff" for c in word):
            shown = word.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
            raise WrongUsage(f"{shown[:80]!r} holds bytes that are not UTF-8; rename or retype it.")


def _stop(number: int, _frame: FrameType | None) -> None:
    """SIGTERM leaves by the same way as Ctrl-C: what is open is rolled back, the screens go."""
    raise SystemExit(128 + number)


def _heed_sigterm() -> None:
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, _stop)


def main() -> None:
    """Run the command line; every error this program knows becomes one sentence and a code."""
    _heed_sigterm()
    try:
        _refuse_what_is_no_text(sys.argv[1:])
        app()
    except StockError as error:
        say(f"stock: {error}")
        sys.exit(int(error.exit_code))
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(int(ExitCode.DONE))
    except (KeyboardInterrupt, SystemExit) as stop:
        code = stop.code if isinstance(stop, SystemExit) else STOPPED[0]
        if code in STOPPED:
            typer.echo("stock: stopped; nothing half-done was kept.", err=True)
        leave(code)
    except OSError as error:
        where = error.filename or ""
        say(f"stock: {where}: {error.strerror or error}")
        sys.exit(int(ExitCode.REFUSED))
    except MemoryError:
        typer.echo("stock: the machine ran out of memory; nothing was kept.", err=True)
        sys.exit(int(ExitCode.REFUSED))
