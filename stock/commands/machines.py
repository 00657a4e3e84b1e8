"""What machines drink and need without printing: cleaning, tests, shaking, counters, doses."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

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
from stock.errors import WrongUsage

if TYPE_CHECKING:
    from stock.shop.doses import KnownDose

PrinterArgument = Annotated[str, typer.Argument(metavar="PRINTER", help="The printer.")]
InkOption = Annotated[
    list[str] | None,
    typer.Option("--ml", metavar="CHANNEL=ML", help="How much of a channel, as W=8 (repeatable)."),
]
NoteOption = Annotated[str, typer.Option("--note", help="Kept with the entry.")]


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    for command in (clean, trial, shaken, counter, dose):
        app.command()(command)


def show_done(done: Any, as_json: bool) -> None:
    """An entry as posted: what moved, then what the person should know."""
    if as_json:
        show_json(done.to_json())
        return
    tell(str(done))
    for note in getattr(done, "notes", ()):
        say(f"  {note}")


def _amounts(given: list[str] | None) -> dict[str, float]:
    from stock.units import parse_decimal

    amounts: dict[str, float] = {}
    for text in given or ():
        channel, equals, number = text.partition("=")
        try:
            if not equals or channel.strip() in amounts:
                raise ValueError
            amounts[channel.strip()] = float(parse_decimal(number))
        except ValueError:
            raise WrongUsage(f"--ml {text!r}; expected CHANNEL=ML once for each channel.") from None
    return amounts


def clean(
    printer: PrinterArgument,
    ml: InkOption = None,
    kind: Annotated[
        str, typer.Option("--kind", help="clean, circulate or start (a start-up).")
    ] = "clean",
    note: NoteOption = "",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Note a cleaning, circulation or start-up and the ink it took.

    Without --ml the printer's rate per start-up is taken. Waste ink: follow the data sheet and
    local rules, never down a drain.

    Example:

    \b
        stock clean P1 --ml W=8 --ml C=1.5
    """
    from stock.shop.station import who
    from stock.shop.upkeep import run_upkeep

    done = run_upkeep(
        reading_book(), printer, kind, on=day_of(on), ml=_amounts(ml), who=who(), note=note
    )
    show_done(done, as_json)


def trial(
    printer: PrinterArgument,
    ml: InkOption = None,
    blank: Annotated[str, typer.Option("--blank", metavar="SKU", help="A blank spent on it.")] = "",
    pieces: Annotated[int, typer.Option("--pieces", help="How many blanks.")] = 1,
    note: NoteOption = "",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Note a test print or nozzle check: its ink is upkeep, a blank spent on it is waste.

    Example:

    \b
        stock trial P1 --ml W=2 --blank TEE-BLK-L
    """
    from stock.shop.station import who
    from stock.shop.upkeep import trial_print

    done = trial_print(
        reading_book(),
        printer,
        _amounts(ml),
        on=day_of(on),
        blank=blank,
        pieces=pieces,
        who=who(),
        note=note,
    )
    show_done(done, as_json)


def shaken(
    slot: Annotated[str, typer.Argument(metavar="SLOT", help="The slot.")],
    note: NoteOption = "",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Note that the ink in a slot was shaken or stirred.

    Example:

    \b
        stock shaken P1-W
    """
    from stock.shop.maintaining import shaken as note_shaken
    from stock.shop.station import who

    show_done(note_shaken(reading_book(), slot, on=day_of(on), who=who(), note=note), as_json)


def counter(
    printer: PrinterArgument,
    value: Annotated[str, typer.Argument(metavar="VALUE", help="What the counter shows.")],
    channel: Annotated[
        str, typer.Option("--channel", help="Of one channel (default: the whole printer).")
    ] = "",
    restarted: Annotated[
        bool, typer.Option("--restarted", help="The counter began anew since the last reading.")
    ] = False,
    note: NoteOption = "",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Copy in what a machine's counter shows.

    Example:

    \b
        stock counter P1 48211.5 --channel W
    """
    from stock.commands.shared import number_of
    from stock.shop.station import who
    from stock.shop.weighing import Counter, read_counter

    shown = number_of(value, "VALUE")
    reading = Counter(printer, shown or 0.0, day_of(on), channel, restarted, note)
    show_done(read_counter(reading_book(), reading, who=who()), as_json)


def dose(
    blank: Annotated[
        str, typer.Argument(metavar="BLANK", help="The blank weighed; none: show all doses.")
    ] = "",
    dry: Annotated[
        str | None, typer.Option("--dry", metavar="G", help="Its mass before spraying.")
    ] = None,
    wet: Annotated[
        str | None,
        typer.Option("--wet", metavar="G", help="Its mass right after, before any heat."),
    ] = None,
    width_cm: Annotated[
        str | None, typer.Option("--width-cm", metavar="W", help="Sprayed width (or 14in).")
    ] = None,
    height_cm: Annotated[
        str | None, typer.Option("--height-cm", metavar="H", help="Sprayed height.")
    ] = None,
    note: NoteOption = "",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Weigh a blank before and after pretreat: the dose of its style and colour follows.

    Weigh it wet: on the press the cloth also loses water of its own, a third of a dose. Pretreat
    is a chemical: gloves and air as its safety data sheet says. Without BLANK the doses are shown.

    Example:

    \b
        stock dose TEE-BLK-L --dry 152.4 --wet 181.0 --width-cm 40 --height-cm 50
        stock dose
    """
    from stock.commands.shared import grams_of, length_cm
    from stock.shop.doses import doses_known, weigh_pretreat
    from stock.shop.station import who

    given = {"--dry": dry, "--wet": wet, "--width-cm": width_cm, "--height-cm": height_cm}
    missing = [option for option, value in given.items() if value is None]
    if not blank and len(missing) < len(given):
        raise WrongUsage("stock dose needs the BLANK that was weighed.")
    if not blank:
        _show_doses(doses_known(reading_book(), day_of(on)), as_json)
        return
    if missing:
        raise WrongUsage(f"stock dose {blank} also needs {', '.join(missing)}.")
    from stock.ink.pretreat import WetWeighing

    weighing = WetWeighing(
        grams_of(dry or "", "--dry"),
        grams_of(wet or "", "--wet"),
        length_cm(width_cm, "--width-cm") or 0.0,
        length_cm(height_cm, "--height-cm") or 0.0,
    )
    done = weigh_pretreat(reading_book(), blank, weighing, on=day_of(on), who=who(), note=note)
    show_done(done, as_json)


def _show_doses(doses: list[KnownDose], as_json: bool) -> None:
    from stock.commands.shared import show_table

    if as_json:
        show_json([one.to_json() for one in doses])
        return
    show_table(
        ("style", "colour", "mg/cm²", "sd", "weighings", "blanks"),
        [
            (
                one.style,
                one.colour,
                f"{one.dose.mg_per_cm2:.1f}",
                f"± {one.dose.mg_per_cm2_sd:.1f}",
                str(one.weighings) if one.weighings else "not yet weighed",
                ", ".join(one.blanks[:4]) + (" …" if len(one.blanks) > 4 else ""),
            )
            for one in doses
        ],
        right=("mg/cm²", "sd"),
    )
