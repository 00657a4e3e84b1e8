"""Shelf: items with what is here of them, or the machine slots as gauges; Enter opens an item."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import Static

from stock.screens import deeds
from stock.screens.base import ShopScreen
from stock.screens.widgets.find import Find
from stock.screens.widgets.gauge import gauge
from stock.screens.widgets.rows import PAGE, Column, Rows
from stock.screens.wording import counted, held, some

if TYPE_CHECKING:
    from stock.shop import Book
    from stock.shop.views.pages import Page
    from stock.shop.views.stockroom import ItemRow, SlotRow

OF_ITEMS = frozenset(("count", "sheet", "find"))
OF_SLOTS = frozenset(("weigh", "dip", "unload", "shaken"))


class ShelfScreen(ShopScreen):
    """What is here."""

    MODE = "shelf"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("s", "slots", "Slots/items", tooltip="Machine slots, or items again"),
        Binding("slash", "find", "Find", key_display="/", tooltip="Part of a code or name"),
        Binding("l", "load", "Load", tooltip="Load a slot, swap a cartridge, top up a tank"),
        Binding("w", "weigh", "Weigh", tooltip="What the scale says of a slot"),
        Binding("d", "dip", "Dip", tooltip="What the dipstick or gauge says of a tank"),
        Binding("o", "unload", "Take out", tooltip="Take the cartridge out of a slot"),
        Binding("k", "shaken", "Shaken", tooltip="Note that the white was shaken"),
        Binding("c", "count", "Count", tooltip="Count the item here, blind"),
        Binding("b", "sheet", "Count all", tooltip="Count shelf by shelf, blind"),
        Binding("h", "history", "History", tooltip="Every movement of the item here"),
        Binding("escape", "items", "Items", show=False),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.showing = "items"
        self.like = ""
        self.doubts: dict[str, float] = {}

    def body(self) -> Iterable[Widget]:
        """Two tables, one of them shown."""
        yield Static("Reading …", id="head", markup=False)
        yield Find("part of a code or name; Enter")
        yield Rows(
            (
                Column("item", 13, flex=1),
                Column("on shelf", 11, right=True),
                Column("in slots", 11, right=True),
                Column("set aside", 10, right=True),
                Column("lots", 4, right=True),
                Column("first date", 10),
                Column("name", 10, flex=3),
            ),
            _item_cells,
            empty="No items yet. i on Today takes in a file of them.",
            id="items",
        )
        yield Rows(
            (
                Column("slot", 8),
                Column("level", 12),
                Column("", 5, right=True),
                Column("amount", 16, right=True),
                Column("item", 10, flex=1),
                Column("use by", 10),
                Column("feed", 9, goes=2),
                Column("lots", 9, flex=2, goes=1),
            ),
            self._slot_cells,
            empty="No machines yet. i on Today takes in a file of printers.",
            id="slots",
        )
        yield Static(deeds.CHEMICALS, id="shelf-caution", classes="caution", markup=False)

    def on_mount(self) -> None:
        """To the items."""
        self._turn("items")
        super().on_mount()

    @property
    def rows(self) -> Rows:
        """The table shown."""
        return self.query_one(f"#{self.showing}", Rows)

    def _turn(self, to: str) -> None:
        self.showing = to
        for name in ("items", "slots"):
            self.query_one(f"#{name}").display = name == to
        self.query_one("#shelf-caution").display = to == "slots"
        self.rows.focus()
        self.refresh_bindings()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Only what can be done with what is shown."""
        if action in OF_ITEMS or action in OF_SLOTS:
            return (action in OF_ITEMS) == (self.showing == "items")
        return super().check_action(action, parameters)

    def look_again(self) -> None:
        """Read the present view."""
        if self.pointed and self.showing != "slots":
            self._turn("slots")
        if self.showing == "slots":
            from stock.shop.views.stockroom import slots_now

            self.look(slots_now, self._show_slots)
        else:
            self._read(self.rows.cursor // PAGE * PAGE, fresh=True)

    @on(Rows.PageWanted, "#items")
    def _page(self, event: Rows.PageWanted) -> None:
        self._read(event.first, fresh=False)

    def _read(self, first: int, *, fresh: bool) -> None:
        like = self.like

        def read(book: Book) -> Page[ItemRow]:
            from stock.shop.views.pages import items_page

            return items_page(book, first=first, most=PAGE, like=like)

        def show(page: Page[ItemRow]) -> None:
            if like != self.like:
                return
            self.query_one("#items", Rows).show_page(page.count, page.first, page.rows, fresh=fresh)
            if self.showing == "items":
                of = f" with {like!r}" if like else ""
                self.head(
                    f"{counted(page.count, 'item')}{of}. Enter: lots, chart   s: machine slots"
                )

        self.look(read, show, group=f"page {first}")

    def _show_slots(self, slots: list[SlotRow]) -> None:
        rows = self.query_one("#slots", Rows)
        rows.show(slots, key=lambda slot: slot.slot)
        if self.pointed:
            place = next((n for n, slot in enumerate(slots) if slot.slot == self.pointed), None)
            self.pointed = ""
            if place is not None:
                rows.go_to(place)
        self.head(f"{counted(len(slots), 'machine slot')}: █ surely there, ▒ perhaps.   s: items")

        def doubted(found: dict[str, float]) -> None:
            self.doubts = found
            rows.refresh()

        from stock.shop.views.stockroom import slot_doubts

        self.look_at_week(lambda week: slot_doubts(week.snapshot), doubted, group="doubts")

    def _slot_cells(self, slot: SlotRow) -> tuple[str, ...]:
        doubt = self.doubts.get(slot.slot, 0.0)
        share = doubt * 1000 / slot.capacity if slot.capacity else 0.0
        level = held(slot.level, slot.unit)
        return (
            slot.slot,
            gauge(slot.share, share),
            f"{slot.share:.0%}",
            f"{level} ± {doubt:,.0f}" if doubt else level,
            slot.item or "–",
            slot.effective_expiry.isoformat() if slot.effective_expiry else "–",
            slot.feed,
            ", ".join(slot.lots),
        )

    @on(Rows.Chosen, "#items")
    def _open(self, event: Rows.Chosen) -> None:
        self._open_item(event.row.sku)

    @on(Rows.Chosen, "#slots")
    def _open_slot(self, event: Rows.Chosen) -> None:
        if event.row.item:
            self._open_item(event.row.item)

    def _open_item(self, sku: str) -> None:
        from stock.screens.item import ItemScreen

        self.app.push_screen(ItemScreen(sku))

    def action_items(self) -> None:
        """The items, all of them."""
        find = self.query_one(Find)
        if self.showing == "items":
            find.action_all()
        else:
            self.action_slots()

    def action_slots(self) -> None:
        """Slots, or items again."""
        self.query_one(Find).display = False
        self._turn("items" if self.showing == "slots" else "slots")
        self.look_again()

    def action_find(self) -> None:
        """Show the field to find items."""
        self.query_one(Find).call()

    @on(Find.Wanted)
    def _find(self, event: Find.Wanted) -> None:
        if event.text != self.like:
            self.like = event.text
            self.query_one("#items", Rows).cursor = 0
            self.look_again()

    def _slot(self) -> Any:
        return self.rows.current if self.showing == "slots" else None

    def action_load(self) -> None:
        """Load, swap or top up."""
        row = self.rows.current
        if self.showing == "slots" and row is not None:
            form = deeds.load_form(self.day, slot=row.slot, sku=row.item)
        else:
            ink = row is not None and row.kind == "ink"
            form = deeds.load_form(self.day, sku=row.sku if ink else "")
        self.ask(form)

    def action_unload(self) -> None:
        """Take a cartridge out."""
        slot = self._slot()
        self.ask(deeds.unload_form(self.day, slot=slot.slot if slot else ""))

    def action_weigh(self) -> None:
        """Weigh the slot under the cursor."""
        slot = self._slot()
        self.ask(deeds.weigh_form(self.day, what=slot.slot if slot else ""))

    def action_dip(self) -> None:
        """Dip the slot under the cursor."""
        slot = self._slot()
        if slot is not None:
            self.ask(deeds.dip_form(self.day, slot=slot.slot, unit=slot.unit))

    def action_shaken(self) -> None:
        """Note that a slot was shaken."""
        slot = self._slot()
        self.ask(deeds.shake_form(self.day, slot=slot.slot if slot else ""))

    def action_count(self) -> None:
        """Count the item under the cursor."""
        row = self.rows.current
        if row is not None:
            self.ask(deeds.count_form(self.day, sku=row.sku, unit=row.unit))

    def action_sheet(self) -> None:
        """Count everything, or one kind, blind."""
        from stock.screens.counting import CountScreen

        self.app.push_screen(CountScreen())

    def action_history(self) -> None:
        """Movements of the item under the cursor."""
        from stock.screens.history import HistoryScreen

        row = self.rows.current
        sku = "" if row is None else row.sku if self.showing == "items" else row.item
        self.app.push_screen(HistoryScreen(sku=sku))


def _item_cells(row: ItemRow) -> tuple[str, ...]:
    return (
        row.sku,
        some(row.on_shelf, row.unit),
        some(row.in_slots, row.unit),
        some(row.aside, row.unit),
        str(row.lots) if row.lots else "–",
        row.first_expiry.isoformat() if row.first_expiry else "–",
        row.name,
    )
