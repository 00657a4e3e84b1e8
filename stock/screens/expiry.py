"""Expiry: lots by date on a line of weeks, what will be left of each, what helps, and doing it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import TYPE_CHECKING, Any, ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.containers import Horizontal
from textual.widget import Widget
from textual.widgets import DataTable, Static

from stock.exchange.safe_text import safe_text
from stock.screens.base import ShopScreen
from stock.screens.dialogs import Field, Form

if TYPE_CHECKING:
    from stock.plan.decisions import ExpiringLot

WITHIN = (30, 90, 180, 365)


def weeks_line(days: int, weeks: int = 13) -> str:
    """Where the date lies on a line of weeks: ``····●········``; past dates say so."""
    if days < 0:
        return "past".ljust(weeks)
    place = min(days // 7, weeks - 1)
    return "·" * place + "●" + "·" * (weeks - place - 1)


class ExpiryScreen(ShopScreen):
    """Lots that expire soon."""

    MODE = "expiry"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("w", "within", "Further", tooltip="Look 30, 90, 180 or 365 days ahead"),
        Binding("o", "write_off", "Write off", tooltip="Write the lot off, for disposal"),
        Binding("a", "set_aside", "Set aside", tooltip="Put the lot into quarantine"),
        Binding("b", "send_back", "Send back", tooltip="Return the lot to its supplier"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.within = 90
        self.lots: list[ExpiringLot] = []

    def body(self) -> Iterable[Widget]:
        """The lots, and the one under the cursor beside them."""
        yield Static("Reading …", id="expiry-head", classes="head")
        with Horizontal(classes="side"):
            table: DataTable[str] = DataTable(
                id="expiry-table", cursor_type="row", zebra_stripes=True
            )
            yield table
        yield Static("", id="expiry-detail", classes="note", markup=False)

    def on_mount(self) -> None:
        """Columns."""
        table = self.query_one("#expiry-table", DataTable)
        table.add_columns("use by", "days", "item", "place", "left", "weeks ahead", "lot")
        table.focus()
        super().on_mount()

    def look_again(self) -> None:
        """Plan the lots in a thread."""
        from stock.shop.planning import expiring_lots

        day, within = self.shop_app.business_day(), self.within
        self.look(lambda book: expiring_lots(book, day, within_days=within), self._show)

    def _show(self, lots: tuple[ExpiringLot, ...]) -> None:
        self.lots = list(lots)
        table = self.query_one("#expiry-table", DataTable)
        keep = table.cursor_row
        table.clear()
        for number, lot in enumerate(self.lots):
            table.add_row(
                lot.effective_expiry.isoformat(),
                str(lot.days),
                safe_text(lot.item),
                safe_text(lot.place),
                f"{lot.left_mean:,.4g} {lot.unit}".replace(" each", ""),
                weeks_line(lot.days),
                safe_text(lot.lot),
                key=str(number),
            )
        if self.lots:
            table.move_cursor(row=min(keep, len(self.lots) - 1))
        risk = sum(lot.value_at_risk for lot in self.lots) / 100
        head = (
            f"{len(self.lots)} lots within {self.within} days, {risk:,.2f} at risk"
            if self.lots
            else f"No lot expires within {self.within} days. w looks further ahead."
        )
        self.query_one("#expiry-head", Static).update(head)
        self._detail()

    @on(DataTable.RowHighlighted, "#expiry-table")
    def _detail(self) -> None:
        lot = self._current()
        if lot is None:
            self.query_one("#expiry-detail", Static).update("")
            return
        text = (
            f"{lot.item} lot {lot.lot} at {lot.place}: {lot.amount:,.4g} {lot.unit}, of which "
            f"{lot.left_mean:,.4g} will be left on {lot.effective_expiry} (1 in 10: more than "
            f"{lot.left_p90:,.4g}). Value at risk {lot.value_at_risk / 100:,.2f}.\n{lot.advice}"
        )
        cautions = " ".join(lot.cautions)
        shown = [safe_text(part) for part in (*text.splitlines(), cautions) if part]
        self.query_one("#expiry-detail", Static).update("\n".join(shown))

    def _current(self) -> ExpiringLot | None:
        row = self.query_one("#expiry-table", DataTable).cursor_row
        return self.lots[row] if 0 <= row < len(self.lots) else None

    def action_within(self) -> None:
        """Look further ahead."""
        self.within = WITHIN[(WITHIN.index(self.within) + 1) % len(WITHIN)]
        self.look_again()

    def action_write_off(self) -> None:
        """Ask why, then write the lot off."""
        self._ask("Write off", "expired", _write_off)

    def action_set_aside(self) -> None:
        """Ask why, then set the lot aside."""
        self._ask("Set aside", "", _set_aside)

    def action_send_back(self) -> None:
        """Ask why, then return the lot."""
        self._ask("Send back to the supplier", "short dated", _send_back)

    def _ask(self, title: str, reason: str, act: Any) -> None:
        lot = self._current()
        if lot is None:
            self.say("No lot is under the cursor.")
            return
        day = self.shop_app.business_day()

        def answered(answer: dict[str, str] | None) -> None:
            if answer is None:
                return
            self.post(
                lambda book: act(book, lot, answer["reason"], day),
                lambda done: self.booked(done.entry, str(done)),
            )

        self.app.push_screen(
            Form(
                f"{title}: {lot.item} lot {lot.lot} at {lot.place}",
                (Field("reason", "Reason", value=reason),),
                note="Disposal: section 13 of the safety data sheet and local rules; "
                "never down a drain unless they allow it.",
            ),
            answered,
        )


def _choice(lot: ExpiringLot) -> Any:
    from stock.shop.choosing import Choice

    return Choice(sku=lot.item, lot=lot.lot, place=lot.place)


def _write_off(book: Any, lot: ExpiringLot, reason: str, day: date) -> Any:
    from stock.shop.setting_aside import scrap
    from stock.shop.station import who

    return scrap(book, _choice(lot), reason, on=day, who=who())


def _set_aside(book: Any, lot: ExpiringLot, reason: str, day: date) -> Any:
    from stock.shop.setting_aside import quarantine
    from stock.shop.station import who

    return quarantine(book, _choice(lot), reason, on=day, who=who())


def _send_back(book: Any, lot: ExpiringLot, reason: str, day: date) -> Any:
    from stock.shop.setting_aside import return_to_supplier
    from stock.shop.station import who

    return return_to_supplier(book, _choice(lot), reason, on=day, who=who())
