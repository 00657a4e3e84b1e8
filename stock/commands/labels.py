"""``stock label``: labels that the shop's own scanner path reads back."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from stock.commands.shared import (
    JsonOption,
    OnOption,
    day_of,
    reading_book,
    say,
    show_json,
    tell,
    write_file,
)
from stock.errors import WrongUsage


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    app.command()(label)


def label(
    kind: Annotated[
        str, typer.Argument(metavar="[KIND]", help="lot, container, place or item.")
    ] = "",
    codes: Annotated[
        list[str] | None,
        typer.Argument(metavar="CODE…", help="Which ones (default: all that are there)."),
    ] = None,
    lot: Annotated[str, typer.Option("--lot", help="With KIND lot: only this lot.")] = "",
    count: Annotated[int, typer.Option("--count", help="So many labels of each.")] = 1,
    sheet: Annotated[
        str, typer.Option("--sheet", help="Paper: a4-70x37, roll-62x29 … (see --sheets).")
    ] = "",
    sheets: Annotated[bool, typer.Option("--sheets", help="List the label papers known.")] = False,
    symbol: Annotated[str, typer.Option("--symbol", help="datamatrix or gs1-128.")] = "datamatrix",
    skip: Annotated[
        int, typer.Option("--skip", min=0, help="Labels of the first sheet already used up.")
    ] = 0,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="A .pdf, or a .png of one label."),
    ] = None,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Make labels for lots, containers, shelves and slots, as PDF sheets or a PNG.

    Example:

    \b
        stock label lot INK-W --lot W7731 --count 4 --out labels.pdf
        stock label place SHELF P1-W --sheet roll-62x29 --out shelf.pdf
        stock label container C-12 --out c12.png
    """
    from stock.exchange.label_sheets import SHEETS
    from stock.shop.labelling import LABEL_KINDS, labels_for

    if sheets:
        for name, known in SHEETS.items():
            tell(f"{name:<16} {known.per_page} on a page")
        return
    if kind not in LABEL_KINDS:
        raise WrongUsage(f"{kind!r} cannot be labelled; expected {', '.join(LABEL_KINDS)}.")
    if symbol not in ("datamatrix", "gs1-128"):
        raise WrongUsage(f"--symbol {symbol!r}: expected datamatrix or gs1-128.")
    chosen = sheet or _usual_sheet()
    if chosen not in SHEETS:
        raise WrongUsage(f"--sheet {chosen!r}: expected one of {', '.join(SHEETS)}.")
    made = labels_for(
        reading_book(),
        kind,
        codes or (),
        on=day_of(on),
        lot_code=lot,
        count=count,
    )
    target = out or Path("labels.pdf")
    write_file(target, _rendered(made, target, SHEETS[chosen], symbol, skip))
    if as_json:
        show_json(
            {
                "file": str(target),
                "labels": [{"title": one.title, "code": one.printed_code} for one in made],
            }
        )
        return
    say(f"{len(made)} label{'s' if len(made) != 1 else ''} in {target}.")


def _usual_sheet() -> str:
    from stock.shop.settings import load_settings

    return "letter-67x25" if load_settings()["paper"] == "letter" else "a4-70x37"


def _rendered(made: list[Any], target: Path, sheet: Any, symbol: Any, skip: int) -> bytes:
    from stock.clock import now_utc
    from stock.errors import Refused
    from stock.exchange.label_sheets import label_png, labels_pdf

    try:
        if target.suffix.lower() == ".png":
            if len(made) != 1:
                raise WrongUsage(f"A PNG holds one label, not {len(made)}: name a .pdf with --out.")
            return label_png(made[0], *sheet.label_mm, symbol=symbol)
        if target.suffix.lower() != ".pdf":
            raise WrongUsage(f"--out {target.name!r}: expected a name ending in .pdf or .png.")
        return labels_pdf(made, sheet, made=now_utc().astimezone(), symbol=symbol, skip=skip)
    except ValueError as error:
        raise Refused(f"{error}.") from None
