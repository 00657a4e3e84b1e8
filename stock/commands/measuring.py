"""``stock measure``: artwork in, millilitres out."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stock.commands.shared import JsonOption, book_address, length_cm, say, show_json, show_table
from stock.errors import WrongUsage


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
    page: Annotated[int, typer.Option("--page", help="Page of a PDF.")] = 1,
    as_json: JsonOption = False,
) -> None:
    """Estimate ink and pretreat from artwork; works without a book, by prior rates.

    Example:

    \b
        stock measure wolf.png --width-cm 30 --garment dark
    """
    from stock.shop.measuring import measure_files
    from stock.shop.station import cache_folder

    if garment not in ("light", "dark"):
        raise WrongUsage(f"--garment {garment!r}: expected light or dark.")
    found = measure_files(
        files,
        book=book_address(),
        width_cm=length_cm(width_cm, "--width-cm"),
        height_cm=length_cm(height_cm, "--height-cm"),
        garment=garment,
        mode=mode,
        printer=printer,
        pieces=pieces,
        page=page,
        cache_dir=cache_folder(),
    )
    if as_json:
        documents = [estimate.to_json() for estimate in found]
        show_json(documents[0] if len(files) == 1 else documents)
        return
    for estimate in found:
        known = "calibrated" if estimate.calibrated else "not yet calibrated: prior rates"
        title = (
            f"{estimate.file}: {estimate.width_cm:.1f} × {estimate.height_cm:.1f} cm, "
            f"{garment} garment, {pieces} piece{'s' if pieces != 1 else ''} ({known})"
        )
        rows = [
            (
                channel,
                f"{estimate.covered_cm2[channel]:.1f}",
                f"{estimate.ml[channel]:.2f}",
                f"± {estimate.ml_sd[channel]:.2f}",
            )
            for channel in estimate.ml
        ]
        rows.append(("pretreat", "", f"{estimate.pretreat_g:.1f} g", ""))
        show_table(
            ("channel", "full tone cm²", "mL", "sd"),
            rows,
            right=("full tone cm²", "mL", "sd"),
            title=title,
        )
        for note in estimate.notes:
            say(f"  {note}")
