"""Expiry: lots by date on a line of weeks, what will be left of each, what helps, and doing it."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from stock.exchange.safe_text import safe_text
from stock.screens import deeds
from stock.screens.base import ShopScreen
from stock.screens.dialogs import Form, Question
from stock.screens.widgets.charts import lots_drawn, lots_told
from stock.screens.widgets.picture import Picture
from stock.screens.widgets.rows import Column, Rows
from stock.screens.wording import amount, days_word, money, plain_money

if TYPE_CHECKING:
    from stock.plan.decisions import ExpiringLot
    from stock.shop.views.week_at_hand import Week

WITHIN = (30, 90, 180, 365)
WEEKS = 13


def weeks_line(days: int, weeks: int = WEEKS) -> str:
    """Where the date lies on a line of weeks: ``····●········``; past dates say so.

    >>> weeks_line(9), weeks_line(-2, 5), weeks_line(400, 5)
    ('·●···········', 'past ', '····›')
    """
    if days < 0:
        return "past".ljust(weeks)
    place = days // 7
    if place >= weeks:
        return "·" * (weeks - 1) + "›"
    return "·" * place + "●" + "·" * (weeks - place - 1)


class ExpiryScreen(ShopScreen):
    """Lots that expire soon."""

    MODE = "expiry"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("w", "within", "Further", tooltip="Look 30, 90, 180 or 365 days ahead"),
        Binding("c", "chart", "Chart", tooltip="Value expected to be left, by week"),
        Binding("l", "load", "Load", tooltip="Use it first: load it into a machine"),
        Binding("a", "set_aside", "Set aside", tooltip="Put the lot into quarantine"),
        Binding("b", "send_back", "Send back", tooltip="Return the lot to its supplier"),
        Binding("o", "write_off", "Write off", tooltip="Write the lot off, for disposal"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.within = 90
        self.lots: tuple[ExpiringLot, ...] = ()
        self.slots: frozenset[str] = frozenset()

    def body(self) -> Iterable[Widget]:
        """The lots, and the one under the cursor below or beside them."""
        yield Static("Reading …", id="head", markup=False)
        with Horizontal(classes="pair"):
            yield Rows(
                (
                    Column("use by", 10),
                    Column("days", 4, right=True),
                    Column("item", 9, flex=2),
                    Column("place", 8, flex=1),
                    Column("left", 9, right=True),
                    Column("weeks ahead", WEEKS),
                    Column("lot", 9, flex=2),
                    Column("at risk", 9, right=True, goes=1),
                    Column("here", 9, right=True, goes=2),
                ),
                _cells,
                empty="No lot expires in that time. w looks further ahead.",
            )
            with Vertical(classes="detail", id="expiry-side"):
                yield Picture(id="expiry-chart")
                with VerticalScroll(id="expiry-words"):
                    yield Static("", id="expiry-detail", markup=False)

    def on_mount(self) -> None:
        """To the lots."""
        self.query_one(Picture).display = False
        self.query_one(Rows).focus()
        super().on_mount()

    def look_again(self) -> None:
        """Plan the lots in a thread."""
        within = self.within

        def read(week: Week) -> tuple[tuple[ExpiringLot, ...], frozenset[str]]:
            slots = (held.place for held in week.snapshot.stock if held.place_kind == "slot")
            return week.expiring(within), frozenset(slots)

        self.look_at_week(read, self._show)

    def _show(self, found: tuple[tuple[ExpiringLot, ...], frozenset[str]]) -> None:
        lots, self.slots = found
        self.lots = lots
        rows = self.query_one(Rows)
        rows.show(lots, key=lambda lot: (lot.item, lot.lot, lot.place))
        if self.pointed:
            place = next((n for n, lot in enumerate(lots) if lot.lot == self.pointed), None)
            self.pointed = ""
            if place is not None:
                rows.go_to(place)
        risk = sum(lot.value_at_risk for lot in lots)
        count = f"{len(lots)} lot" + ("s" if len(lots) != 1 else "")
        self.head(
            f"{count} within {self.within} days, {money(risk)} at risk. Enter: what can be done"
            if lots
            else f"No lot expires within {self.within} days. w looks further ahead."
        )
        day = self.day
        self.query_one(Picture).show(partial(lots_drawn, lots, day), partial(lots_told, lots, day))

    @on(Rows.Moved)
    def _detail(self, event: Rows.Moved) -> None:
        lot: ExpiringLot | None = event.row
        text = lot_text(lot) if lot is not None else ""
        self.query_one("#expiry-detail", Static).update(
            "\n".join(safe_text(line) for line in text.splitlines())
        )

    @on(Rows.Chosen)
    def _menu(self, event: Rows.Chosen) -> None:
        """What can be done with the lot under the cursor."""
        lot: ExpiringLot = event.row
        of_shelf = [
            ("l", "use it first: load it into a machine"),
            ("a", "set it aside, into quarantine"),
            ("b", "send it back to its supplier"),
            ("o", "write it off, for disposal"),
        ]
        of_slot = [("o", "take it out of the machine, for disposal")]
        answers = of_slot if lot.place in self.slots else of_shelf
        answers = [*answers, ("i", "the item: lots, weeks to come, history")]
        acts = {
            "l": self.action_load,
            "a": self.action_set_aside,
            "b": self.action_send_back,
            "o": self.action_write_off,
            "i": self._open_item,
        }

        def answered(answer: str | None) -> None:
            if answer:
                acts[answer]()

        self.app.push_screen(
            Question(f"{lot.item} lot {lot.lot} at {lot.place}\n\n{lot.advice}", answers), answered
        )

    def _open_item(self) -> None:
        lot = self.query_one(Rows).current
        if lot is not None:
            from stock.screens.item import ItemScreen

            self.app.push_screen(ItemScreen(lot.item))

    def action_within(self) -> None:
        """Look further ahead, or near again."""
        self.within = WITHIN[(WITHIN.index(self.within) + 1) % len(WITHIN)]
        self.look_again()

    def action_chart(self) -> None:
        """The chart, or what is said of the lot."""
        picture = self.query_one(Picture)
        picture.display = not picture.display
        self.query_one("#expiry-words").display = not picture.display
        self.query_one("#expiry-side").set_class(picture.display, "tall")

    def _form(self, deed: str, reason: str) -> Form | None:
        lot = self.query_one(Rows).current
        if lot is None:
            self.say("No lot is under the cursor.")
            return None
        return deeds.choice_form(
            *(deed, self.day),
            sku=lot.item,
            unit=lot.unit,
            lot=lot.lot,
            place=lot.place,
            reason=reason,
        )

    def _ask(self, form: Form | None) -> None:
        if form is not None:
            self.ask(form)

    def action_load(self) -> None:
        """Load it into a machine."""
        lot = self.query_one(Rows).current
        if lot is not None and lot.place in self.slots:
            self.say(f"It is loaded in {lot.place}.")
        elif lot is not None:
            self.ask(deeds.load_form(self.day, sku=lot.item, lot=lot.lot))

    def action_set_aside(self) -> None:
        """Put the lot under the cursor into quarantine."""
        self._ask(self._form("quarantine", ""))

    def action_send_back(self) -> None:
        """Return the lot under the cursor to its supplier."""
        self._ask(self._form("give back", ""))

    def action_write_off(self) -> None:
        """Write the lot off: expired stock by its own entry, other stock as scrap."""
        lot = self.query_one(Rows).current
        if lot is None:
            self.say("No lot is under the cursor.")
        elif lot.place in self.slots:
            self.ask(deeds.unload_form(self.day, slot=lot.place, old="waste"))
        elif lot.days < 0:
            self.ask(deeds.write_off_form(self.day, sku=lot.item, lot=lot.lot))
        else:
            self._ask(self._form("scrap", f"expires {lot.effective_expiry}"))


def lot_text(lot: ExpiringLot) -> str:
    """What is expected of a lot, what helps, and what to mind."""
    unit = lot.unit
    lines = [
        f"{lot.item} {lot.name}".rstrip() + f", lot {lot.lot} at {lot.place}: "
        f"{amount(lot.amount, unit)} here, last day {lot.effective_expiry} "
        f"({days_word(lot.days)}).",
        f"Expected left then: {amount(lot.left_mean, unit)} (1 in 10: more than "
        f"{amount(lot.left_p90, unit)}); value at risk {money(lot.value_at_risk)}.",
        f"→ {lot.advice}",
    ]
    return "\n".join([*lines, *(f"⚠ {caution}" for caution in lot.cautions)])


def _cells(lot: ExpiringLot) -> tuple[str, ...]:
    here: Any = amount(lot.amount, lot.unit)
    return (
        *(lot.effective_expiry.isoformat(), str(lot.days), lot.item, lot.place),
        *(amount(lot.left_mean, lot.unit), weeks_line(lot.days), lot.lot),
        *(plain_money(lot.value_at_risk), here),
    )
