"""The stockroom: load and unload slots, weigh, count, scrap, undo, and what goes with them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from stock.commands.machines import show_done
from stock.commands.shared import (
    JsonOption,
    OnOption,
    day_of,
    grams_of,
    making_book,
    reading_book,
    say,
    show_json,
)
from stock.errors import WrongUsage

ReasonOption = Annotated[str, typer.Option("--reason", help="Why; kept with the entry.")]
ItemOption = Annotated[str, typer.Option("--item", metavar="SKU", help="The item.")]
LotOption = Annotated[str, typer.Option("--lot", help="Lot (default: first expired, first out).")]
ContainerOption = Annotated[str, typer.Option("--container", help="An opened container.")]
PlaceOption = Annotated[str, typer.Option("--place", help="Where it is.")]
AmountOption = Annotated[str, typer.Option("--amount", help='How much, as "1.8 L" (default: all).')]


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    for command in (load, unload, weigh, dip, count, undo, scrap, quarantine, release):
        app.command()(command)
    app.command()(move)
    app.command()(mix)
    app.command()(upkeep)
    app.command()(service)
    app.command("write-off")(write_off)
    app.command("open")(open_container)
    app.command("return")(give_back)


def _choice(
    book: Any, item: str, lot: str, container: str, place: str, amount: str, owner: str = ""
) -> Any:
    from stock.shop.choosing import Choice

    if not item and not container and not place:
        raise WrongUsage("Say what: --item SKU, or --container CODE.")
    held = None
    if amount:
        if not item:
            raise WrongUsage("--amount needs --item, so that its unit is known.")
        from stock.shop.amounts import amount_of_item

        held = amount_of_item(book, item, amount)
    return Choice(sku=item, lot=lot, container=container, place=place, amount=held, owner=owner)


def load(
    slot: Annotated[str, typer.Argument(metavar="SLOT", help="The machine slot.")],
    item: ItemOption = "",
    lot: LotOption = "",
    container: ContainerOption = "",
    amount: Annotated[str, typer.Option("--amount", help="Part of a pack, into a tank only.")] = "",
    old: Annotated[
        str, typer.Option("--old", help="The cartridge in the slot: empty, keep or waste.")
    ] = "",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Load a slot, swap its cartridge, or top up its tank.

    Example:

    \b
        stock load A-W1 --item CART-W
        stock load A-W1 --old empty
    """
    from stock.shop.loading import Load
    from stock.shop.loading import load as load_slot
    from stock.shop.station import who

    if old not in ("", "empty", "keep", "waste"):
        raise WrongUsage(f"--old {old!r}: expected empty, keep or waste.")
    book = reading_book()
    held = None
    if amount:
        from stock.shop.amounts import amount_of_item

        if not item:
            raise WrongUsage("--amount needs --item, so that its unit is known.")
        held = amount_of_item(book, item, amount)
    wanted = Load(
        slot,
        day_of(on),
        sku=item,
        lot=lot,
        container=container,
        amount=held,
        old=old,  # type: ignore[arg-type]
    )
    show_done(load_slot(book, wanted, who=who()), as_json)


def unload(
    slot: Annotated[str, typer.Argument(metavar="SLOT", help="The machine slot.")],
    old: Annotated[
        str, typer.Option("--old", help="keep (part-used, to a shelf), empty or waste.")
    ] = "keep",
    to: Annotated[str, typer.Option("--to", help="Shelf it goes to.")] = "SHELF",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take a cartridge out of its slot.

    Example:

    \b
        stock unload A-M --old keep
    """
    from stock.shop.loading import unload as unload_slot
    from stock.shop.station import who

    if old not in ("empty", "keep", "waste"):
        raise WrongUsage(f"--old {old!r}: expected empty, keep or waste.")
    done = unload_slot(
        reading_book(),
        slot,
        on=day_of(on),
        old=old,  # type: ignore[arg-type]
        to=to,
        who=who(),
    )
    show_done(done, as_json)


def weigh(
    what: Annotated[str, typer.Argument(metavar="SLOT_OR_CONTAINER")],
    grams: Annotated[
        str, typer.Option("--grams", metavar="G", help='What the scale shows (or "0.7 kg").')
    ],
    net: Annotated[bool, typer.Option("--net", help="The empty weight is off already.")] = False,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Set a slot or container to what the scale says.

    Example:

    \b
        stock weigh A-M --grams 312
    """
    from stock.shop.station import who
    from stock.shop.weighing import Weighing
    from stock.shop.weighing import weigh as weigh_it

    weighing = Weighing(what, grams_of(grams, "--grams"), day_of(on), net)
    show_done(weigh_it(reading_book(), weighing, who=who()), as_json)


def dip(
    slot: Annotated[str, typer.Argument(metavar="SLOT", help="The tank.")],
    level: Annotated[str, typer.Option("--level", help='What the gauge shows, as "4.5 L".')],
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Set a tank to the level read on its gauge or dipstick.

    Example:

    \b
        stock dip B-W --level "11.5 L"
    """
    from stock.shop.station import who
    from stock.shop.weighing import dip as dip_tank
    from stock.units import parse_amount

    try:
        held = parse_amount(level, "mL")
    except ValueError as error:
        raise WrongUsage(f"--level: {error}.") from None
    show_done(dip_tank(reading_book(), slot, held, on=day_of(on), who=who()), as_json)


def count(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The filled-in count sheet (CSV).")],
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only say what differs.")] = False,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take a count sheet: what was counted becomes what the book says.

    The same file as ``stock import counts``.

    Example:

    \b
        stock count count-2026-10.csv
    """
    from stock.shop.imports import import_rows
    from stock.shop.station import who

    done = import_rows(making_book, "counts", file, on=day_of(on), dry_run=dry_run, who=who())
    if as_json:
        show_json(done.to_json())
    else:
        say(f"{file.name}: {done.rows} rows counted, {done.known} known already.")
        for note in done.notes:
            say(f"  {note}")


def undo(
    entry: Annotated[int, typer.Argument(metavar="ENTRY", help="Number of the entry.")],
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take an entry back, once, by posting its opposite.

    Example:

    \b
        stock undo 4711
    """
    from stock.shop.station import who
    from stock.shop.undoing import undo as undo_entry

    show_done(undo_entry(reading_book(), entry, on=day_of(on), who=who()), as_json)


def scrap(
    item: ItemOption = "",
    reason: ReasonOption = "",
    lot: LotOption = "",
    container: ContainerOption = "",
    place: PlaceOption = "",
    amount: AmountOption = "",
    spilled: Annotated[bool, typer.Option("--spilled", help="Spilled, not thrown away.")] = False,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Throw goods away. Disposal: data sheet section 13 and local rules; never down a drain.

    Example:

    \b
        stock scrap --item CART-M --lot CLM26289 --reason frozen
    """
    from stock.shop.setting_aside import scrap as throw_away
    from stock.shop.station import who

    book = reading_book()
    choice = _choice(book, item, lot, container, place, amount)
    done = throw_away(book, choice, reason, on=day_of(on), spilled=spilled, who=who())
    show_done(done, as_json)


def write_off(
    item: ItemOption = "",
    lot: LotOption = "",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write off what is past its date on shelves and in quarantine (all of it, or one item).

    Example:

    \b
        stock write-off --item CART-M
    """
    from stock.shop.setting_aside import write_off_expired
    from stock.shop.station import who

    done = write_off_expired(reading_book(), on=day_of(on), sku=item, lot=lot, who=who())
    show_done(done, as_json)


def quarantine(
    item: ItemOption = "",
    reason: ReasonOption = "",
    lot: LotOption = "",
    container: ContainerOption = "",
    place: PlaceOption = "",
    amount: AmountOption = "",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Set goods aside: they count for nothing until released.

    Example:

    \b
        stock quarantine --item CART-C --lot CA26072C --reason "came in frozen"
    """
    from stock.shop.setting_aside import quarantine as set_aside
    from stock.shop.station import who

    book = reading_book()
    choice = _choice(book, item, lot, container, place, amount)
    show_done(set_aside(book, choice, reason, on=day_of(on), who=who()), as_json)


def release(
    item: ItemOption = "",
    lot: LotOption = "",
    container: ContainerOption = "",
    amount: AmountOption = "",
    to: Annotated[str, typer.Option("--to", help="Shelf it goes to.")] = "SHELF",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Bring quarantined goods back to a shelf.

    Example:

    \b
        stock release --item CART-C --lot CA26072C
    """
    from stock.shop.setting_aside import release as bring_back
    from stock.shop.station import who

    book = reading_book()
    choice = _choice(book, item, lot, container, "", amount)
    show_done(bring_back(book, choice, on=day_of(on), to=to, who=who()), as_json)


def move(
    to: Annotated[str, typer.Option("--to", help="Shelf it goes to.")],
    item: ItemOption = "",
    lot: LotOption = "",
    container: ContainerOption = "",
    place: PlaceOption = "",
    amount: AmountOption = "",
    new_shelf: Annotated[
        bool, typer.Option("--new-shelf", help="The shelf is new: add it to the book.")
    ] = False,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Carry goods from one shelf to another.

    Example:

    \b
        stock move --item TEE-BLK-L --amount 24 --to SHELF-2 --new-shelf
    """
    from stock.shop.setting_aside import move as carry
    from stock.shop.station import who

    book = reading_book()
    choice = _choice(book, item, lot, container, place, amount)
    done = carry(book, choice, to, on=day_of(on), who=who(), new_shelf=new_shelf)
    show_done(done, as_json)


def give_back(
    item: ItemOption = "",
    reason: ReasonOption = "",
    lot: LotOption = "",
    container: ContainerOption = "",
    place: PlaceOption = "",
    amount: AmountOption = "",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Send goods back to their supplier.

    Example:

    \b
        stock return --item CART-M --lot CLM26289 --reason "short dated"
    """
    from stock.shop.setting_aside import return_to_supplier
    from stock.shop.station import who

    book = reading_book()
    choice = _choice(book, item, lot, container, place, amount)
    show_done(return_to_supplier(book, choice, reason, on=day_of(on), who=who()), as_json)


def open_container(
    item: Annotated[str, typer.Argument(metavar="SKU", help="What is opened.")],
    lot: LotOption = "",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Open a sealed pack on the shelf: its open life begins.

    Example:

    \b
        stock open PT-DARK
    """
    from stock.shop.preparing import open_pack
    from stock.shop.station import who

    show_done(open_pack(reading_book(), item, on=day_of(on), lot=lot, who=who()), as_json)


def service(
    item: Annotated[str, typer.Argument(metavar="SKU", help="The maintenance supply used.")],
    printer: Annotated[str, typer.Option("--printer", help="On which printer.")] = "",
    lot: LotOption = "",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Note a service done with a maintenance supply (wiper, filter, cleaning liquid).

    Example:

    \b
        stock service WIPER --printer PRESS-A
    """
    from stock.shop.maintaining import service_done
    from stock.shop.station import who

    done = service_done(
        reading_book(), item, on=day_of(on), printer_code=printer, lot=lot, who=who()
    )
    show_done(done, as_json)


def upkeep(on: OnOption = None, as_json: JsonOption = False) -> None:
    """Post what the machines drank by themselves on every calendar day up to now.

    Example:

    \b
        stock upkeep
    """
    from stock.shop.station import who
    from stock.shop.upkeep import catch_up

    show_done(catch_up(reading_book(), day_of(on), who=who()), as_json)


def mix(
    item: Annotated[str, typer.Argument(metavar="SKU", help="The ready mix.")],
    amount: Annotated[str, typer.Option("--amount", help='How much ready mix, as "5 kg".')],
    concentrate_lot: Annotated[str, typer.Option("--from-lot", help="Lot of concentrate.")] = "",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Mix pretreat from concentrate and water: a lot of its own with its own, shorter life.

    Chemicals: gloves, eye protection and the safety data sheet first.

    Example:

    \b
        stock mix PT-READY --amount "5 kg"
    """
    from stock.shop.amounts import amount_of_item
    from stock.shop.preparing import Mix
    from stock.shop.preparing import mix as make_mix
    from stock.shop.station import who

    book = reading_book()
    ready = amount_of_item(book, item, amount)
    wanted = Mix(item, day_of(on), ready=ready, concentrate_lot=concentrate_lot)
    show_done(make_mix(book, wanted, who=who()), as_json)
