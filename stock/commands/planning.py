"""What expires and what is here: ``stock expiring``, ``stock onhand``."""

from __future__ import annotations

from textwrap import fill
from typing import TYPE_CHECKING, Annotated, Any

import typer

from stock.commands.shared import (
    JsonOption,
    OnOption,
    amount_writer,
    columns,
    day_of,
    reading_book,
    say,
    show_json,
    show_table,
    tell,
)
from stock.errors import ExitCode, WrongUsage

if TYPE_CHECKING:
    from collections.abc import Sequence


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    app.command()(expiring)
    app.command()(onhand)


def expiring(
    within: Annotated[
        str, typer.Option("--within", metavar="DAYS", help="How far ahead, as 90d or 12w.")
    ] = "90d",
    fail_if_any: Annotated[
        bool, typer.Option("--fail-if-any", help="Exit code 4 when there is one.")
    ] = False,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the lots that expire soon, what will be left of them, and what helps.

    Example:

    \b
        stock expiring --within 60d
    """
    from stock.shop.planning import expiring_lots

    lots = expiring_lots(reading_book(), day_of(on), within_days=days_of(within))
    if as_json:
        from stock.shop.settings import load_settings

        currency = load_settings()["currency"]
        show_json([{**lot.to_json(), "currency": currency} for lot in lots])
    else:
        print_expiring(lots)
    if fail_if_any and lots:
        raise typer.Exit(int(ExitCode.NEEDS_ATTENTION))


ROOM_FOR_ADVICE = 120
"""Columns a terminal has where advice stands beside its lot; else below the table."""


def _by_advice(lots: Sequence[Any]) -> list[tuple[str, list[str]]]:
    """What helps, and of which lots, the soonest first."""
    found: dict[str, list[str]] = {}
    for lot in lots:
        found.setdefault(lot.advice, []).append(f"{lot.item} {lot.lot} at {lot.place}")
    return list(found.items())


def print_expiring(lots: Sequence[Any]) -> None:
    """Expiring lots for people."""
    if not lots:
        say("No lot expires in that time.")
        return
    shown = amount_writer()
    head = ["use by", "days", "item", "lot", "place", "amount", "left then", "at risk"]
    rows: list[tuple[Any, ...]] = [
        (
            lot.effective_expiry,
            lot.days,
            lot.item,
            lot.lot,
            lot.place,
            shown(lot.amount, lot.unit),
            shown(lot.left_mean, lot.unit),
            f"{lot.value_at_risk / 100:,.2f}",
        )
        for lot in lots
    ]
    aside = columns() >= ROOM_FOR_ADVICE
    if aside:
        head.append("advice")
        rows = [(*row, lot.advice) for row, lot in zip(rows, lots, strict=True)]
    show_table(head, rows, right=("days", "amount", "left then", "at risk"), title="Expiring lots")
    if not aside:
        for advice, names in _by_advice(lots):
            tell()
            tell(fill(advice, columns()))
            tell(fill(", ".join(names), columns(), initial_indent="  ", subsequent_indent="  "))
    say(
        "Disposal: follow section 13 of the safety data sheet and your local rules; "
        "never down a drain unless they allow it."
    )


def days_of(text: str) -> int:
    """``90d``, ``12w`` or a bare number of days."""
    raw = text.strip().lower()
    factor = 7 if raw.endswith("w") else 1
    digits = raw.rstrip("dw")
    if not digits.isdigit() or int(digits) * factor > 3660:
        raise WrongUsage(f"--within {text!r}: expected days as 90d or weeks as 12w.")
    return int(digits) * factor


def onhand(on: OnOption = None, as_json: JsonOption = False) -> None:
    """Show what is here: by item, lot and place.

    Example:

    \b
        stock onhand --on 2026-10-31
    """
    from stock.shop.onhand import on_hand

    rows = on_hand(reading_book(), None if on is None else day_of(on))
    if as_json:
        show_json([row.to_json() for row in rows])
        return
    shown = amount_writer()
    owned = any(row.owner for row in rows)
    show_table(
        ("item", "lot", *(("owner",) if owned else ()), "place", "container", "amount", "use by"),
        [
            (
                row.item,
                row.lot,
                *((row.owner or "–",) if owned else ()),
                row.place,
                row.container or "–",
                shown(row.amount / 1000, row.unit),
                row.effective_expiry or "–",
            )
            for row in rows
        ],
        right=("amount",),
    )
