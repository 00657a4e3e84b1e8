"""``stock measure``: artwork in, millilitres out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stock.commands.shared import (
    JsonOption,
    book_address,
    length_cm,
    say,
    show_json,
    show_table,
    with_progress,
)
from stock.errors import ExitCode, Refused, WrongUsage

if TYPE_CHECKING:
    from stock.ink.estimate import Estimate


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    app.command()(measure)


def measure(
    files: Annotated[list[Path], typer.Argument(metavar="FILE", help="Artwork to measure.")],
    width_cm: Annotated[
        str | None, typer.Option("--width-cm", metavar="W", help='Printed width (or "12 in").')
    ] = None,
    height_cm: Annotated[
        str | None, typer.Option("--height-cm", metavar="H", help="Printed height.")
    ] = None,
    garment: Annotated[
        str, typer.Option("--garment", help="light or dark: a dark one takes white and pretreat.")
    ] = "light",
    mode: Annotated[str, typer.Option("--mode", help="Print mode of the book.")] = "",
    printer: Annotated[str, typer.Option("--printer", help="Printer whose rates to use.")] = "",
    pieces: Annotated[int, typer.Option("--pieces", help="For how many pieces.")] = 1,
    page: Annotated[int, typer.Option("--page", help="Page of a PDF or TIFF.")] = 1,
    as_json: JsonOption = False,
) -> None:
    """Estimate ink and pretreat from artwork; works without a book, by prior rates.

    Example:

    \b
        stock measure wolf.png --width-cm 30 --garment dark
    """
    from stock.shop.measuring import measure_each
    from stock.shop.station import cache_folder

    if garment not in ("light", "dark"):
        raise WrongUsage(f"--garment {garment!r}: expected light or dark.")
    sides = (length_cm(width_cm, "--width-cm"), length_cm(height_cm, "--height-cm"))
    answers = with_progress(
        "Measuring artwork",
        lambda report: measure_each(
            files,
            book=book_address(),
            width_cm=sides[0],
            height_cm=sides[1],
            garment=garment,
            mode=mode,
            printer=printer,
            pieces=pieces,
            page=page,
            cache_dir=cache_folder(),
            on_progress=report,
        ),
    )
    refused = [answer for answer in answers if isinstance(answer, Refused)]
    if len(files) == 1 and refused:
        raise refused[0]
    if as_json:
        documents = [
            {"file": str(file), "error": str(answer)}
            if isinstance(answer, Refused)
            else answer.to_json()
            for file, answer in zip(files, answers, strict=True)
        ]
        show_json(documents[0] if len(files) == 1 else documents)
    else:
        for answer in answers:
            if not isinstance(answer, Refused):
                _show(answer, garment)
    for error in refused:
        say(f"stock: {error}")
    if refused:
        raise typer.Exit(int(ExitCode.REFUSED))


def _show(estimate: Estimate, garment: str) -> None:
    known = "calibrated" if estimate.calibrated else "not yet calibrated: prior rates"
    many = f"{estimate.pieces} piece{'s' if estimate.pieces != 1 else ''}"
    title = (
        f"{estimate.file}: {estimate.width_cm:.1f} × {estimate.height_cm:.1f} cm, "
        f"{garment} garment, {many} ({known})"
    )
    rows = [
        (
            channel,
            f"{estimate.covered_cm2[channel]:.1f}",
            f"{estimate.ml[channel]:.2f} mL",
            f"± {estimate.ml_sd[channel]:.2f}",
        )
        for channel in estimate.ml
    ]
    grams, grams_sd = estimate.pretreat_g, estimate.pretreat_g_sd
    rows.append(("pretreat", "", f"{grams:.1f} g", f"± {grams_sd:.1f}"))
    show_table(
        ("channel", "full tone cm²", "amount", "sd"),
        rows,
        right=("full tone cm²", "amount", "sd"),
        title=title,
    )
    for note in estimate.notes:
        say(f"  {note}")
