"""``stock calibrate``: rates from what the machines really drank."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stock.commands.shared import (
    JsonOption,
    OnOption,
    day_of,
    reading_book,
    say,
    show_json,
    tell,
)
from stock.errors import Refused, WrongUsage


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    app.command()(calibrate)


def calibrate(
    printer: Annotated[str, typer.Option("--printer", metavar="P", help="Only this one.")] = "",
    keep: Annotated[
        bool, typer.Option("--keep", help="Keep the rates: they hold from --on (or today).")
    ] = False,
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="FILE", help="Draw it as .svg or .png.")
    ] = None,
    weigh_next: Annotated[
        bool, typer.Option("--next", help="Say which slot is worth weighing next.")
    ] = False,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Fit ink rates to swaps, weighings, dips, counters and the printer's own job log.

    Shows estimate, standard error, how much is still prior, and what was set aside.

    Example:

    \b
        stock calibrate --printer PRESS-A
        stock calibrate --keep
        stock calibrate --next
    """
    from stock.shop.calibrating import calibrate_book, looks_worth_most

    book, day = reading_book(), day_of(on)
    if weigh_next:
        looks = looks_worth_most(book, day, printer_code=printer)
        if as_json:
            show_json(
                [
                    {
                        "slot": look.slot,
                        "item": look.item,
                        "method": look.method,
                        "worth": look.worth / 100,
                        "chance": look.chance,
                        "level_sd_ml": look.level_sd_ml,
                        "level_sd_after_ml": look.level_sd_after_ml,
                        "say": look.sentence(),
                    }
                    for look in looks
                ]
            )
            return
        if not looks:
            say("No slot holds anything.")
        for look in looks:
            tell(look.sentence())
        return
    if plot is not None and plot.suffix.lower() not in (".svg", ".png"):
        raise WrongUsage(f"--plot {plot}: expected a name that ends in .svg or .png.")
    done = calibrate_book(book, printer_code=printer, keep_from=day if keep else None)
    if plot is not None:
        from stock.ink.calibration_plot import plot_png, plot_svg

        if not any(fit.residuals for fit in done.fits):
            raise Refused("There is nothing to draw yet: no interval was measured.")
        if plot.suffix.lower() == ".svg":
            plot.write_text(plot_svg(done.fits), encoding="utf-8")
        else:
            plot.write_bytes(plot_png(done.fits))
        say(f"Drawn: {plot}")
    if as_json:
        show_json(done.to_json())
    else:
        tell(done.text())
    if keep:
        say(f"Kept: these rates hold from {day}; earlier prints keep theirs.")
