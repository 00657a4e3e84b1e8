"""Shelf: items, their lots and containers, and machine slots as gauges; weigh, load, count here."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import DataTable, Input, Static

from stock.exchange.safe_text import safe_text
from stock.screens.base import ShopScreen
from stock.screens.dialogs import Field, Form
from stock.units import format_amount

if TYPE_CHECKING:
    from stock.shop.onhand import OnHand
    from stock.shop.views.stockroom import ItemRow, SlotRow

CHEMICALS = (
    "Ink and pretreat are chemicals: gloves and eye protection, the safety data sheet first; "
    "waste ink by its section 13 and local rules."
)


def gauge(share: float, width: int = 12) -> str:
    """How full, as a bar and in per cent: ``██████······  50 %``."""
    filled = round(max(0.0, min(1.0, share)) * width)
    return "█" * filled + "·" * (width - filled) + f" {share:4.0%}"


class ShelfScreen(ShopScreen):
    """What is here: three views, one key each way."""

    MODE = "shelf"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("s", "slots", "Slots/items", tooltip="Machine slots, or items again"),
        Binding("enter", "open_row", "Lots", show=False),
        Binding("escape", "items", "Back"),
        Binding("slash", "find", "Find", key_display="/"),
        Binding("l", "load", "Load"),
        Binding("w", "weigh", "Weigh"),
        Binding("c", "count", "Count"),
        Binding("x", "scrap", "Scrap"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.view = "items"
        self.sku = ""
        self.rows: list[Any] = []
        self.doubts: dict[str, float] = {}

    def body(self) -> Iterable[Widget]:
        """A head, a field to find things, a table."""
        yield Static("Reading …", id="shelf-head", classes="head", markup=False)
        find = Input(placeholder="part of a code or name; Enter", id="find", classes="hidden")
        yield find
        table: DataTable[str] = DataTable(id="shelf-table", cursor_type="row", zebra_stripes=True)
        yield table

    def on_mount(self) -> None:
        """To the table."""
        self.query_one("#shelf-table", DataTable).focus()
        super().on_mount()

    def look_again(self) -> None:
        """Read the present view."""
        like = self.query_one("#find", Input).value.strip()
        if self.view == "slots":
            from stock.shop.views.stockroom import slot_doubts_now, slots_now

            day = self.shop_app.business_day()

            def listed(rows: list[SlotRow]) -> None:
                self._show_slots(rows)
                self.look(lambda book: slot_doubts_now(book, day), self._doubted, group="doubts")

            self.look(slots_now, listed)
        elif self.view == "lots":
            from stock.shop.onhand import on_hand

            sku = self.sku
            self.look(
                lambda book: [row for row in on_hand(book) if row.item == sku], self._show_lots
            )
        else:
            from stock.shop.views.stockroom import items_on_hand

            self.look(lambda book: items_on_hand(book, like=like), self._show_items)

    def _fill(self, head: str, columns: tuple[str, ...], rows: list[tuple[str, ...]]) -> None:
        table = self.query_one("#shelf-table", DataTable)
        keep = table.cursor_row
        table.clear(columns=True)
        table.add_columns(*columns)
        for number, row in enumerate(rows):
            table.add_row(*(safe_text(cell) for cell in row), key=str(number))
        if rows:
            table.move_cursor(row=min(keep, len(rows) - 1))
        self.query_one("#shelf-head", Static).update(head)

    def _show_items(self, rows: list[ItemRow]) -> None:
        self.rows = rows
        head = (
            f"{len(rows)} items. Enter: lots   s: machine slots   /: find"
            if rows
            else "No items yet. stock import --template items shows what a file looks like."
        )
        self._fill(
            head,
            ("item", "on shelf", "in slots", "set aside", "lots", "first date", "name"),
            [
                (
                    row.sku,
                    format_amount(row.on_shelf, row.unit, places=0),
                    format_amount(row.in_slots, row.unit, places=0) if row.in_slots else "–",
                    format_amount(row.aside, row.unit, places=0) if row.aside else "–",
                    str(row.lots),
                    row.first_expiry.isoformat() if row.first_expiry else "–",
                    row.name,
                )
                for row in rows
            ],
        )

    def _show_lots(self, rows: list[OnHand]) -> None:
        self.rows = rows
        self._fill(
            f"{self.sku}: {len(rows)} lots and containers. Escape: items",
            ("lot", "place", "container", "amount", "use by", "sealed until", "owner"),
            [
                (
                    row.lot,
                    row.place,
                    row.container or "sealed",
                    format_amount(row.amount, row.unit),
                    row.effective_expiry.isoformat() if row.effective_expiry else "no date",
                    row.sealed_expiry.isoformat() if row.sealed_expiry else "–",
                    row.owner or "shop",
                )
                for row in rows
            ],
        )

    def _show_slots(self, rows: list[SlotRow]) -> None:
        self.rows = rows
        self._fill(
            "Machine slots. l: load or swap   w: weigh   s: items",
            ("slot", "channel", "level", "amount", "item", "use by", "lots"),
            [
                (
                    row.slot,
                    row.channel,
                    gauge(row.share),
                    format_amount(row.level, row.unit, places=0) + self._doubt(row),
                    row.item or "–",
                    row.effective_expiry.isoformat() if row.effective_expiry else "–",
                    ", ".join(row.lots[:3]) + (" …" if len(row.lots) > 3 else ""),
                )
                for row in rows
            ],
        )

    def _doubt(self, row: SlotRow) -> str:
        """± one standard deviation, once it is reckoned."""
        sd = self.doubts.get(row.slot)
        return f" ± {sd:,.0f}" if sd else ""

    def _doubted(self, doubts: dict[str, float]) -> None:
        self.doubts = doubts
        if self.view == "slots":
            self._show_slots(self.rows)

    @on(DataTable.RowSelected, "#shelf-table")
    def action_open_row(self) -> None:
        """From an item to its lots."""
        if self.view == "items" and self._current() is not None:
            self.sku, self.view = self._current().sku, "lots"
            self.look_again()

    def action_items(self) -> None:
        """Back to the items."""
        self.query_one("#find", Input).add_class("hidden")
        self.view = "items"
        self.query_one("#shelf-table", DataTable).focus()
        self.look_again()

    def action_slots(self) -> None:
        """Slots, or items again."""
        self.view = "items" if self.view == "slots" else "slots"
        self.look_again()

    def action_find(self) -> None:
        """Show the field to find items."""
        self.view = "items"
        field = self.query_one("#find", Input)
        field.remove_class("hidden")
        field.focus()

    @on(Input.Submitted, "#find")
    def _find(self) -> None:
        self.query_one("#shelf-table", DataTable).focus()
        self.look_again()

    def _current(self) -> Any:
        row = self.query_one("#shelf-table", DataTable).cursor_row
        return self.rows[row] if 0 <= row < len(self.rows) else None

    def action_load(self) -> None:
        """Load, swap or top up the slot under the cursor."""
        row = self._current()
        slot = row.slot if self.view == "slots" and row else ""
        item = row.item if self.view == "slots" and row else self._sku()
        day = self.shop_app.business_day()

        def answered(answer: dict[str, str] | None) -> None:
            if answer is None:
                return
            from stock.shop.loading import Load, load
            from stock.shop.station import who

            wanted = Load(
                answer["slot"],
                day,
                sku=answer["item"],
                lot=answer["lot"],
                old=answer["old"],  # type: ignore[arg-type]
            )
            self.post(
                lambda book: load(book, wanted, who=who()),
                lambda done: self.booked(done.entry, str(done)),
            )

        self.app.push_screen(
            Form(
                "Load a slot, swap its cartridge, or top up its tank",
                (
                    Field("slot", "Slot", slot),
                    Field("item", "Item", item),
                    Field("lot", "Lot", hint="empty: first expired, first out"),
                    Field("old", "Old cartridge", hint="empty, keep or waste (if one is in)"),
                ),
                note=CHEMICALS,
            ),
            answered,
        )

    def _sku(self) -> str:
        row = self._current()
        if row is None:
            return ""
        return str(row.sku if self.view == "items" else row.item)

    def action_weigh(self) -> None:
        """Weigh the slot or container under the cursor."""
        row = self._current()
        what = ""
        if row is not None and self.view == "slots":
            what = row.slot
        elif row is not None and self.view == "lots":
            what = row.container
        day = self.shop_app.business_day()

        def answered(answer: dict[str, str] | None) -> None:
            if answer is None:
                return
            from stock.exchange.written import read_decimal
            from stock.shop.station import who
            from stock.shop.weighing import Weighing, weigh

            try:
                grams = float(read_decimal(answer["grams"]))
            except ValueError as error:
                self.complain(f"Grams: {error}")
                return
            weighing = Weighing(answer["what"], grams, day, answer["net"].lower() in ("y", "yes"))
            self.post(
                lambda book: weigh(book, weighing, who=who()),
                lambda done: self.booked(done.entry, str(done)),
            )

        self.app.push_screen(
            Form(
                "What does the scale say?",
                (
                    Field("what", "Slot or container", what),
                    Field("grams", "Grams"),
                    Field("net", "Empty weight already off? (yes/no)", "no"),
                ),
            ),
            answered,
        )

    def action_count(self) -> None:
        """Count the item or lot under the cursor; the book's figure is not shown."""
        row = self._current()
        if row is None or self.view == "slots":
            self.say("Put the cursor on an item or a lot to count it; slots are weighed (w).")
            return
        sku, unit = self._sku(), row.unit
        lot = row.lot if self.view == "lots" else ""
        where = row.place if self.view == "lots" else "SHELF"
        container = row.container if self.view == "lots" else ""
        day = self.shop_app.business_day()

        def answered(answer: dict[str, str] | None) -> None:
            if answer is None:
                return
            from stock.shop.counting import CountRow, count
            from stock.shop.station import who
            from stock.units import parse_amount

            try:
                held = parse_amount(answer["counted"], unit)
            except ValueError as error:
                self.complain(f"Counted: {error}")
                return
            counted = CountRow(answer["place"], sku, held, lot=lot, container=container)
            self.post(
                lambda book: count(book, [counted], answer["reason"], on=day, who=who()),
                lambda done: self.booked(
                    done.entry, f"{done}" + "".join(f"; {d}" for d in done.differences)
                ),
            )

        self.app.push_screen(
            Form(
                f"Count {sku} {lot}".rstrip() + " (blind: the book's figure is shown afterwards)",
                (
                    Field("place", "Place", where),
                    Field("counted", f"Counted ({unit})"),
                    Field("reason", "Reason", "count"),
                ),
            ),
            answered,
        )

    def action_scrap(self) -> None:
        """Throw away the lot or container under the cursor."""
        row = self._current()
        if row is None or self.view != "lots":
            self.say("Open an item's lots (Enter) and put the cursor on the one to scrap.")
            return
        day = self.shop_app.business_day()

        def answered(answer: dict[str, str] | None) -> None:
            if answer is None:
                return
            from stock.shop.choosing import Choice
            from stock.shop.setting_aside import scrap
            from stock.shop.station import who

            choice = Choice(sku=row.item, lot=row.lot, container=row.container, place=row.place)
            self.post(
                lambda book: scrap(book, choice, answer["reason"], on=day, who=who()),
                lambda done: self.booked(done.entry, str(done)),
            )

        self.app.push_screen(
            Form(
                f"Scrap {row.item} lot {row.lot} at {row.place}",
                (Field("reason", "Reason", hint="spilled, frozen, damaged …"),),
                note=CHEMICALS,
            ),
            answered,
        )
