"""Today: what needs a person now, with the key that leads there."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import DataTable, Static

from stock.exchange.safe_text import safe_text
from stock.screens.base import ShopScreen

if TYPE_CHECKING:
    from stock.shop.views.attention import Attention


class TodayScreen(ShopScreen):
    """The day's list."""

    MODE = "today"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "there", "Go there", show=False),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.found: list[Attention] = []

    def body(self) -> Iterable[Widget]:
        """A head and a table."""
        yield Static("Looking …", id="today-head", classes="head", markup=False)
        table: DataTable[str] = DataTable(id="today-table", cursor_type="row", zebra_stripes=True)
        yield table
        yield Static("", id="today-detail", classes="note", markup=False)

    def on_mount(self) -> None:
        """Columns."""
        table = self.query_one("#today-table", DataTable)
        table.add_columns("kind", "where", "what needs you")
        table.focus()
        super().on_mount()

    def look_again(self) -> None:
        """Quick things first; the plan's follow when it is made."""
        from stock.shop.views.attention import from_book, from_plan

        day = self.shop_app.business_day()

        def quick(found: list[Attention]) -> None:
            self._show(found, planning=True)
            self.look(
                lambda book: from_plan(book, day),
                lambda more: self._show([*found, *more], planning=False),
                group="plan",
            )

        self.look(lambda book: from_book(book, day), quick)

    def _show(self, found: list[Attention], *, planning: bool) -> None:
        self.found = found
        table = self.query_one("#today-table", DataTable)
        keep = table.cursor_row
        table.clear()
        for number, one in enumerate(found):
            table.add_row(one.kind, one.where_name, safe_text(one.text), key=str(number))
        if found:
            table.move_cursor(row=min(keep, len(found) - 1))
        day = self.shop_app.business_day()
        waiting = " Planning …" if planning else ""
        head = (
            f"{day}: {len(found)} things need you. Enter goes there.{waiting}"
            if found
            else f"{day}: nothing needs you.{waiting}"
        )
        self.query_one("#today-head", Static).update(head)

    @on(DataTable.RowHighlighted, "#today-table")
    def _whole(self) -> None:
        """The whole sentence of the row under the cursor: a narrow table cuts it."""
        row = self.query_one("#today-table", DataTable).cursor_row
        text = self.found[row].text if 0 <= row < len(self.found) else ""
        self.query_one("#today-detail", Static).update(safe_text(text))

    @on(DataTable.RowSelected, "#today-table")
    def action_there(self) -> None:
        """To the screen where the thing under the cursor is done."""
        row = self.query_one("#today-table", DataTable).cursor_row
        if 0 <= row < len(self.found):
            self.shop_app.action_go(self.found[row].where)
