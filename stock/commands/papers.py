"""What is written about goods: ``stock certificates``, ``stock cautions``, ``stock guide``."""

from __future__ import annotations

from typing import Annotated

import typer

from stock.commands.shared import (
    JsonOption,
    OnOption,
    day_of,
    parse_day,
    reading_book,
    say,
    show_json,
    show_table,
    tell,
)
from stock.errors import ExitCode, WrongUsage


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    app.command()(certificates)
    app.command()(cautions)
    app.command()(guide)


def certificates(
    order: Annotated[
        str | None,
        typer.Argument(metavar="[ORDER]", help="Papers of the lots it was printed from."),
    ] = None,
    item: Annotated[
        str, typer.Option("--item", metavar="SKU", help="Keep papers: of this item …")
    ] = "",
    lot: Annotated[str, typer.Option("--lot", help="… and this lot.")] = "",
    certificate: Annotated[
        str | None, typer.Option("--certificate", help="The certificate's reference.")
    ] = None,
    expires: Annotated[
        str | None, typer.Option("--expires", metavar="DATE", help="Until when it holds.")
    ] = None,
    data_sheet: Annotated[
        str | None, typer.Option("--data-sheet", help="The safety data sheet's reference.")
    ] = None,
    within: Annotated[
        str, typer.Option("--within", metavar="DAYS", help="How far ahead, as 90d or 12w.")
    ] = "90d",
    fail_if_any: Annotated[
        bool, typer.Option("--fail-if-any", help="Exit code 4 when one expires.")
    ] = False,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """List certificates that expire, the papers behind an order, or keep papers with a lot.

    Example:

    \b
        stock certificates --within 60d
        stock certificates A1043
        stock certificates --item INK-W --lot W7731 --certificate C-88 --expires 2027-02-28
    """
    from stock.commands.planning import days_of
    from stock.shop.certificates import expiring_certificates, keep_papers, papers_of_order
    from stock.shop.station import who

    day = day_of(on)
    if item or lot:
        if not (item and lot):
            raise WrongUsage("Papers are kept with one lot: give both --item and --lot.")
        kept = keep_papers(
            reading_book(),
            item,
            lot,
            on=day,
            certificate=certificate,
            expires=parse_day(expires, "--expires") if expires else None,
            data_sheet=data_sheet,
            who=who(),
        )
        if as_json:
            show_json(kept.to_json())
        else:
            tell(f"Entry {kept.entry}: {'; '.join(kept.notes)}")
        return
    if order is not None:
        found = papers_of_order(reading_book(), order, day)
    else:
        found = expiring_certificates(reading_book(), day, within_days=days_of(within))
    if as_json:
        show_json([one.to_json() for one in found])
    elif not found:
        say("Nothing printed yet." if order else "No certificate of a lot on hand expires then.")
    else:
        show_table(
            ("item", "lot", "supplier", "certificate", "until", "days", "data sheet"),
            [
                (
                    one.item,
                    one.lot,
                    one.supplier or "–",
                    one.certificate or "–",
                    one.certificate_expiry or "–",
                    "–" if one.days is None else one.days,
                    one.data_sheet or "–",
                )
                for one in found
            ],
            right=("days",),
        )
    if fail_if_any and found and order is None:
        raise typer.Exit(int(ExitCode.NEEDS_ATTENTION))


def cautions(
    topic: Annotated[str, typer.Argument(metavar="[TOPIC]", help="Only this one.")] = "",
    as_json: JsonOption = False,
) -> None:
    """Say what to mind with a hot press, chemicals and waste, and who says so.

    Example:

    \b
        stock cautions "hot press"
    """
    from stock.shop.cautions import CAUTIONS, DEFERS

    known = [one.topic for one in CAUTIONS]
    if topic and topic not in known:
        raise WrongUsage(f"There is no caution on {topic!r}; expected one of {', '.join(known)}.")
    chosen = [one for one in CAUTIONS if topic in ("", one.topic)]
    if as_json:
        show_json([one.to_json() for one in chosen])
        return
    for one in chosen:
        tell(f"{one.topic} ({one.where})")
        tell(f"  {one.text}")
        tell(f"  Source: {one.source} ({one.source_date}).")
    tell(DEFERS)


def guide(
    topic: Annotated[str, typer.Argument(metavar="[TOPIC]", help="Which page.")] = "",
    as_json: JsonOption = False,
) -> None:
    """Read the manual: without a topic its pages, with one that page.

    Example:

    \b
        stock guide week
    """
    from stock.shop.manual import page, pages

    if not topic:
        if as_json:
            show_json([{"topic": one.topic, "title": one.title} for one in pages()])
            return
        for one in pages():
            tell(f"{one.topic:<12} {one.title}")
        say("Read one with: stock guide TOPIC")
        return
    text = page(topic)
    if as_json:
        show_json({"topic": topic, "text": text})
    else:
        typer.echo(text, nl=False)
