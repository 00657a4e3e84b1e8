"""``stock clear``: can the jobs of the next days be printed with what is here?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from stock.commands.shared import (
    JsonOption,
    OnOption,
    amount_writer,
    day_of,
    reading_book,
    say,
    show_json,
    show_table,
)
from stock.errors import ExitCode

if TYPE_CHECKING:
    from collections.abc import Callable

    from stock.plan.clear_to_print import Clearance, Job


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    app.command()(clear)


def clear(
    days: Annotated[
        int, typer.Option("--days", metavar="N", help="How many days, today first.")
    ] = 5,
    fail_if_short: Annotated[
        bool, typer.Option("--fail-if-short", help="Exit code 4 when a job is at risk or short.")
    ] = False,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say for each job of the next days whether it can be printed, what is short, what to load.

    Example:

    \b
        stock clear --days 3
    """
    from stock.shop.clearing import clear_jobs

    found = clear_jobs(reading_book(), day_of(on), days)
    if as_json:
        show_json(found.to_json())
    else:
        print_clearance(found)
    if fail_if_short and any(job.verdict in ("at risk", "short") for job in found.jobs):
        raise typer.Exit(int(ExitCode.NEEDS_ATTENTION))


def print_clearance(found: Clearance) -> None:
    """The jobs for people."""
    if not found.jobs:
        say(f"No job is planned for the {found.days} days from {found.on}.")
        return
    shown = amount_writer()
    show_table(
        ("day", "order", "pieces", "printer", "verdict", "chance", "what"),
        [
            (
                job.on,
                f"{job.order}/{job.line}",
                f"{job.pieces:g}",
                job.printer or "–",
                job.verdict,
                f"{job.chance:.0%}",
                _what(job, shown),
            )
            for job in found.jobs
        ],
        right=("pieces", "chance"),
        title=f"Jobs of the {found.days} days from {found.on}",
    )
    counted = dict.fromkeys(("clear", "load", "at risk", "short"), 0)
    for job in found.jobs:
        counted[job.verdict] += 1
    say("  " + ", ".join(f"{count} {name}" for name, count in counted.items() if count))
    if found.better:
        named = ", ".join(f"{ref}/{line}" for ref, line in found.better[:12])
        more = ", …" if len(found.better) > 12 else ""
        say(f"  More jobs get through in this order: {named}{more}")
    if any(job.feeds for job in found.jobs):
        say("  Loading ink: gloves and eye protection; see the safety data sheet.")


def _what(job: Job, shown: Callable[[float, str], str]) -> str:
    def of(amount: float, unit: str) -> str:
        return shown(round(amount, 1) if unit == "each" else amount, unit)

    said = []
    for lack in job.lacks:
        more = f", {of(lack.coming, lack.unit)} on order" if lack.coming else ""
        if lack.past_date:
            more += f", {of(lack.past_date, lack.unit)} past its date"
        said.append(
            f"{lack.item}: {of(lack.here, lack.unit)} of "
            f"{of(lack.needed, lack.unit)} ({lack.chance:.0%}{more})"
        )
    said += [
        f"load {feed.item} in {feed.printer or 'the machine'} ({feed.chance:.0%})"
        for feed in job.feeds
    ]
    return "; ".join([*said, *job.notes]) or "–"
