"""Pretreat doses: a blank weighed before and after spraying, and what the book then believes.

Masses are grams, areas cm², doses mg/cm². A dose belongs to a style and colour: every size of it
learns from one weighing; a blank without both stands for itself. The dose stated for the blank, or
the general prior, counts as one more observation. Nothing moves: what is sprayed on a garment is
booked when it is printed.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final

from sqlalchemy import Connection, Row, Select, select

from stock.book.opening import Book
from stock.book.posting import Posting, post
from stock.book.tables import entry, item, reading
from stock.book.undo import reversed_entries
from stock.errors import Refused
from stock.ink.mode import PretreatDose
from stock.ink.pretreat import WetWeighing, calibrate_dose, check_weighing
from stock.shop.choosing import find_item
from stock.shop.done import Done, done
from stock.units import from_thousandths, to_thousandths

KIND: Final = "dose"
"""Of the entry and its reading: ``grams`` gained, ``level`` the area in thousandths of a cm²."""

STATED_REL_SD: Final = 0.15
"""Spread of a dose that is stated for a blank and was not weighed. Judgement."""

Key = tuple[str, str]
_NONE: Final[tuple[list[date], list[WetWeighing]]] = ([], [])


@dataclass(frozen=True, slots=True)
class KnownDose:
    """What is believed of a style and colour."""

    style: str
    colour: str
    blanks: tuple[str, ...]
    dose: PretreatDose
    weighings: int

    def to_json(self) -> dict[str, Any]:
        """Dose with its standard deviation; how many weighings it rests on."""
        return {
            "style": self.style,
            "colour": self.colour,
            "blanks": list(self.blanks),
            "mg_per_cm2": round(self.dose.mg_per_cm2, 4),
            "mg_per_cm2_sd": round(self.dose.mg_per_cm2_sd, 4),
            "weighings": self.weighings,
            "calibrated": self.dose.calibrated,
        }


def key_of(blank: Row[Any]) -> Key:
    """Style and colour; without both the blank's own code."""
    return (blank.style, blank.colour) if blank.style and blank.colour else ("", blank.sku)


def stated_dose(blank: Row[Any]) -> PretreatDose:
    """The dose stated for a blank, else the general prior."""
    if blank.pretreat_mg_per_cm2 is None:
        return PretreatDose()
    spread = blank.pretreat_mg_per_cm2_sd
    return PretreatDose(
        mg_per_cm2=blank.pretreat_mg_per_cm2,
        mg_per_cm2_sd=blank.pretreat_mg_per_cm2 * STATED_REL_SD if spread is None else spread,
        calibrated=spread is not None,
    )


def weighed(connection: Connection) -> dict[Key, tuple[list[date], list[WetWeighing]]]:
    """By style and colour, the days of its weighings in order and the weighings."""
    found: dict[Key, tuple[list[date], list[WetWeighing]]] = {}
    for row in connection.execute(_readings()):
        days, weighings = found.setdefault(key_of(row), ([], []))
        days.append(row.day)
        weighings.append(WetWeighing.of_gain(row.grams, from_thousandths(row.level)))
    return found


def _readings() -> Select[Any]:
    return (
        select(reading.c.day, reading.c.grams, reading.c.level, item.c.sku)
        .add_columns(item.c.style, item.c.colour)
        .join(item, item.c.id == reading.c.item_id)
        .join(entry, entry.c.id == reading.c.entry_id)
        .where(reading.c.kind == KIND, entry.c.id.not_in(reversed_entries()))
        .order_by(reading.c.day, reading.c.id)
    )


@dataclass
class Doses:
    """Doses as believed on a day, for one connection; what it read it keeps."""

    connection: Connection
    _weighed: dict[Key, tuple[list[date], list[WetWeighing]]] | None = None
    _known: dict[tuple[int, int], PretreatDose] = field(default_factory=dict)

    def of(self, blank: Row[Any], day: date) -> PretreatDose:
        """Dose of a blank's row as believed on ``day``."""
        count = self.weighings(blank, day)
        found = self._known.get((blank.id, count))
        if found is None:
            weighings = self._of_key(blank)[1][:count]
            found = calibrate_dose(stated_dose(blank), weighings)
            self._known[blank.id, count] = found
        return found

    def weighings(self, blank: Row[Any], day: date) -> int:
        """How many weighings up to a day speak of a blank."""
        return bisect_right(self._of_key(blank)[0], day)

    def _of_key(self, blank: Row[Any]) -> tuple[list[date], list[WetWeighing]]:
        if self._weighed is None:
            self._weighed = weighed(self.connection)
        return self._weighed.get(key_of(blank), _NONE)


def weigh_pretreat(
    book: Book, sku: str, weighing: WetWeighing, *, on: date, who: str = "", note: str = ""
) -> Done:
    """Keep a blank's weighing before and after spraying; doses of its style and colour follow.

    Raises:
        Unknown: No such item.
        Refused: The item is no blank, or a weighing that cannot be.
    """
    check_weighing(weighing)

    def work(posting: Posting) -> Done:
        blank = find_item(posting, sku)
        if blank.kind != "blank":
            raise Refused(f"{sku} is {blank.kind}; weigh a blank before and after spraying.")
        earlier = weighed(posting.connection).get(key_of(blank), ([], []))[1]
        entry_id = posting.entry(KIND, on, note=note)
        posting.add(
            reading,
            entry_id=entry_id,
            kind=KIND,
            day=on,
            item_id=blank.id,
            grams=weighing.wet_g - weighing.dry_g,
            level=to_thousandths(round(weighing.width_cm * weighing.height_cm, 3)),
        )
        dose = calibrate_dose(stated_dose(blank), [*earlier, weighing])
        many = len(earlier) + 1
        whose = " ".join(part for part in key_of(blank) if part)
        return done(
            posting,
            entry_id,
            [
                f"this piece took {weighing.mg_per_cm2:.1f} mg/cm²; {whose} takes "
                f"{dose.mg_per_cm2:.1f} ± {dose.mg_per_cm2_sd:.1f} mg/cm² by "
                f"{many} weighing{'s' if many > 1 else ''}",
                "pretreat is a chemical: gloves, eye protection and air as its safety data sheet "
                "says",
            ],
        )

    return post(book, work, who=who)


def doses_known(book: Book, day: date) -> list[KnownDose]:
    """The dose of every style and colour of the book's blanks, weighed or not, as of a day."""
    with book.reading() as connection:
        rows = connection.execute(
            select(item).where(item.c.kind == "blank").order_by(item.c.sku)
        ).all()
        doses = Doses(connection)
        return list(_by_dose(rows, doses, day))


def _by_dose(rows: Iterable[Row[Any]], doses: Doses, day: date) -> Iterable[KnownDose]:
    groups: dict[tuple[Key, PretreatDose], tuple[int, list[str]]] = {}
    for row in rows:
        group = (key_of(row), doses.of(row, day))
        groups.setdefault(group, (doses.weighings(row, day), []))[1].append(row.sku)
    for ((style, colour), dose), (count, skus) in groups.items():
        yield KnownDose(style, colour if style else "", tuple(skus), dose, count)
