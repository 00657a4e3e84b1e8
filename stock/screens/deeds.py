"""Forms for what is done with goods: load, unload, weigh, dip, count, scrap, set aside, move …

Each function makes a form whose action calls one function of the shop. What the person is likely
to mean stands in the fields already. Cautions stand where the action is.
"""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from stock.screens.dialogs import Answers, Check, Field, Form, amount_in, needed, one_of

if TYPE_CHECKING:
    from stock.shop import Book
    from stock.shop.choosing import Choice

CHEMICALS = (
    "Ink and pretreat are chemicals: gloves and eye protection, the safety data sheet first; "
    "waste by its section 13 and local rules, never down a drain unless they allow it."
)
SETTLES = "White settles: shake a closed cartridge before it goes in."
OLD = ("empty", "keep", "waste")


def _who() -> str:
    from stock.shop.station import who

    return who()


def grams(text: str) -> str | None:
    """A mass, as ``417``, ``0,75 kg``, ``1.5 lb``."""
    return needed(text) or amount_in("g")(text)


def in_words(unit: str) -> str:
    """The unit a figure is typed in, for a label."""
    return "pieces" if unit == "each" else unit


def optional_amount(unit: str) -> Check:
    """An amount, or nothing for all of it."""

    def check(text: str) -> str | None:
        return amount_in(unit, least=1)(text) if text else None

    return check


def _amount(text: str, unit: str) -> int | None:
    from stock.units import parse_amount

    return parse_amount(text, unit) if text else None  # type: ignore[arg-type]


def load_form(
    day: date, *, slot: str = "", sku: str = "", lot: str = "", tank: bool = False
) -> Form:
    """Load a slot, swap its cartridge, top up its tank."""

    def act(book: Book, answers: Answers) -> Any:
        from stock.shop.amounts import amount_of_item
        from stock.shop.loading import Load, load

        part = answers["amount"]
        wanted = Load(
            *(answers["slot"], day, answers["item"], answers["lot"], answers["container"]),
            amount=amount_of_item(book, answers["item"], part) if part else None,
            old=answers["old"],  # type: ignore[arg-type]
        )
        return load(book, wanted, who=_who())

    return Form(
        "Load a slot, swap its cartridge, or top up its tank",
        (
            Field("slot", "Slot", slot, check=needed),
            Field("item", "Item", sku, "empty: what the slot usually takes"),
            Field("lot", "Lot", lot, "empty: first expired, first out"),
            Field(
                *("old", "Old cartridge", "", "empty, keep or waste; nothing: by the book"),
                choices=OLD,
                check=one_of(OLD),
            ),
            Field("container", "Opened container", hint="a part-used one, by its code"),
            Field("amount", "Only a part (tanks)", hint="as 1.8 L; nothing: a whole pack"),
        ),
        act,
        note=f"{SETTLES} {CHEMICALS}",
        begin="old" if slot and sku else "item" if slot else "slot",
    )


def unload_form(day: date, *, slot: str = "", old: str = "keep") -> Form:
    """Take a cartridge out."""

    def act(book: Book, answers: Answers) -> Any:
        from stock.shop.loading import unload

        what: Any = answers["old"]
        return unload(book, answers["slot"], on=day, old=what, to=answers["to"], who=_who())

    return Form(
        "Take the cartridge out of a slot",
        (
            Field("slot", "Slot", slot, check=needed),
            Field(
                *("old", "It is", old, "keep (to a shelf), empty or waste"),
                choices=OLD,
                check=one_of(OLD, empty=False),
            ),
            Field("to", "Shelf", "SHELF", check=needed),
        ),
        act,
        note=CHEMICALS,
        begin="old" if slot else "slot",
    )


def weigh_form(day: date, *, what: str = "") -> Form:
    """What the scale says of a slot's cartridge or a container."""

    def act(book: Book, answers: Answers) -> Any:
        from stock.shop.weighing import Weighing, weigh
        from stock.units import from_thousandths, parse_amount

        mass = from_thousandths(parse_amount(answers["grams"], "g"))
        weighing = Weighing(answers["what"], mass, day, answers["net"] == "yes")
        return weigh(book, weighing, who=_who())

    return Form(
        "What does the scale say?",
        (
            Field("what", "Slot or container", what, check=needed),
            Field("grams", "Scale shows", hint="grams, or as 0.75 kg, 1.5 lb", check=grams),
            Field(
                *("net", "Ink alone (net)", "no", "yes or no"),
                choices=("yes", "no"),
                check=one_of(("yes", "no"), empty=False),
            ),
        ),
        act,
        note="The book is set to the scale; the difference corrects the estimate. " + CHEMICALS,
        begin="grams" if what else "what",
    )


def dip_form(day: date, *, slot: str = "", unit: str = "mL") -> Form:
    """What a dipstick or gauge says of a tank."""

    def act(book: Book, answers: Answers) -> Any:
        from stock.shop.weighing import dip
        from stock.units import parse_amount

        level = parse_amount(answers["level"], unit)  # type: ignore[arg-type]
        return dip(book, answers["slot"], level, on=day, who=_who())

    return Form(
        "What does the dipstick or gauge say?",
        (
            Field("slot", "Slot", slot, check=needed),
            Field("level", f"Level ({unit})", hint="as 850 or 1.8 L", check=amount_in(unit)),
        ),
        act,
        note="The book is set to it; the difference corrects the estimate.",
        begin="level" if slot else "slot",
    )


def shake_form(day: date, *, slot: str = "") -> Form:
    """White was shaken."""

    def act(book: Book, answers: Answers) -> Any:
        from stock.shop.maintaining import shaken

        return shaken(book, answers["slot"], on=day, who=_who())

    return Form(
        "Shaken or stirred: white settles",
        (Field("slot", "Slot", slot, check=needed),),
        act,
        note="Nothing moves in the book; the day is noted.",
    )


def count_form(
    day: date,
    *,
    sku: str,
    unit: str,
    place: str = "SHELF",
    lot: str = "",
    container: str = "",
    owner: str = "",
) -> Form:
    """Count one thing; the book's figure is not shown before."""

    def act(book: Book, answers: Answers) -> Any:
        from stock.shop.counting import CountRow, count
        from stock.units import parse_amount

        counted = parse_amount(answers["counted"], unit)  # type: ignore[arg-type]
        row = CountRow(answers["place"], sku, counted, lot=lot, container=container, owner=owner)
        return count(book, [row], answers["reason"], on=day, who=_who())

    named = " ".join(filter(None, [sku, lot and f"lot {lot}", container]))
    return Form(
        f"Count {named} (blind: the book's figure comes afterwards)",
        (
            Field("place", "Place", place, check=needed),
            Field("counted", f"Counted ({in_words(unit)})", check=amount_in(unit)),
            Field("reason", "Reason", "count", check=needed),
        ),
        act,
        begin="counted",
    )


def choice_form(
    deed: str,
    day: date,
    *,
    sku: str,
    unit: str,
    lot: str = "",
    place: str = "",
    container: str = "",
    owner: str = "",
    reason: str = "",
) -> Form:
    """One deed on a lot or container: scrap, quarantine, release, give back, move, open, decant."""
    title, hint, note = DEEDS[deed]
    named = " ".join(filter(None, [sku, lot and f"lot {lot}", container]))
    fields = []
    if deed in ("scrap", "quarantine", "give back"):
        fields.append(Field("reason", "Reason", reason, hint, check=needed))
    if deed in ("move", "release", "decant"):
        fields.append(Field("to", "To shelf", "SHELF", check=needed))
    if deed != "open":
        part = deed == "decant"
        hint = "as 1 L" if part else "nothing: all of it"
        fields.append(
            Field(
                *("amount", f"How much ({in_words(unit)})", "", hint),
                check=amount_in(unit, least=1) if part else optional_amount(unit),
            )
        )
    if deed in ("open", "decant"):
        fields.append(Field("code", "Its new label", hint="nothing: the next number"))

    def act(book: Book, answers: Answers) -> Any:
        from stock.shop.choosing import Choice

        choice = Choice(
            sku=sku,
            lot=lot,
            container=container,
            place=place,
            owner=owner,
            amount=_amount(answers.get("amount", ""), unit),
        )
        return _do(deed, book, choice, answers, day)

    begin = "amount" if deed == "decant" else ""
    return Form(f"{title} {named} at {place}", fields, act, note=note, begin=begin)


DEEDS = {
    "scrap": ("Scrap", "spilled, frozen, damaged …", CHEMICALS),
    "write off": ("Write off", "past its date", CHEMICALS),
    "quarantine": (
        "Set aside",
        "settled, frozen, doubtful …",
        "It counts for nothing until released.",
    ),
    "release": ("Release", "", "Test it before a paid job; the data sheet decides."),
    "give back": (
        "Send back",
        "recall, wrong item …",
        "Packed by the carrier's rules for chemicals.",
    ),
    "move": ("Move", "", ""),
    "open": ("Open a pack of", "", "Its open life begins today. " + CHEMICALS),
    "decant": ("Pour off from", "", CHEMICALS),
}
"""What a deed is called, what a reason may be, what to mind."""


def _do(deed: str, book: Book, choice: Choice, answers: Answers, day: date) -> Any:
    from stock.shop import preparing, setting_aside

    who = _who()
    if deed == "scrap":
        return setting_aside.scrap(book, choice, answers["reason"], on=day, who=who)
    if deed == "quarantine":
        return setting_aside.quarantine(book, choice, answers["reason"], on=day, who=who)
    if deed == "give back":
        return setting_aside.return_to_supplier(book, choice, answers["reason"], on=day, who=who)
    if deed == "release":
        return setting_aside.release(book, choice, on=day, to=answers["to"], who=who)
    if deed == "move":
        return setting_aside.move(book, choice, answers["to"], on=day, who=who)
    if deed == "open":
        return preparing.open_pack(
            book, choice.sku, on=day, lot=choice.lot, code=answers["code"], who=who
        )
    wanted = preparing.Decant(
        choice.amount or 0,
        day,
        container=choice.container,
        sku=choice.sku,
        lot=choice.lot,
        code=answers["code"],
        to=answers["to"],
    )
    return preparing.decant(book, wanted, who=who)


def write_off_form(day: date, *, sku: str, lot: str) -> Form:
    """Write off a lot past its date, for disposal."""

    def act(book: Book, answers: Answers) -> Any:
        from stock.shop.setting_aside import write_off_expired

        return write_off_expired(book, on=day, sku=sku, lot=lot, who=_who(), note=answers["note"])

    return Form(
        f"Write off {sku} lot {lot}, past its date",
        (Field("note", "Note", "past its date"),),
        act,
        note="What is loaded in a machine stays and is named. " + CHEMICALS,
    )


def mix_form(day: date, *, sku: str, unit: str) -> Form:
    """Mix ready pretreat from concentrate and water."""

    def act(book: Book, answers: Answers) -> Any:
        from stock.shop.preparing import Mix, mix

        wanted = Mix(
            sku,
            day,
            ready=_amount(answers["ready"], unit),
            code=answers["code"],
            concentrate_lot=answers["lot"],
        )
        return mix(book, wanted, who=_who())

    return Form(
        f"Mix {sku}",
        (
            Field("ready", f"Ready mix ({unit})", hint="as 5 L", check=amount_in(unit, least=1)),
            Field("lot", "Concentrate's lot", hint="nothing: first expired, first out"),
            Field("code", "Mix label", hint="nothing: the day"),
        ),
        act,
        note="Distilled water, clean vessel; the mix has a shorter life of its own. " + CHEMICALS,
    )


def service_form(day: date, *, sku: str = "", unit: str = "each") -> Form:
    """Maintenance done with a supply."""

    def act(book: Book, answers: Answers) -> Any:
        from stock.shop.maintaining import service_done

        return service_done(
            book,
            sku,
            on=day,
            amount=_amount(answers["amount"], unit),
            printer_code=answers["printer"],
            who=_who(),
        )

    return Form(
        f"Maintenance done with {sku}",
        (
            Field(
                *("amount", f"Used ({in_words(unit)})", "", "nothing: what one service takes"),
                check=optional_amount(unit),
            ),
            Field("printer", "Printer", hint="which machine"),
        ),
        act,
        note=CHEMICALS,
    )
