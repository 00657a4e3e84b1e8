"""One order: its lines with whether they can be printed, and what it still needs of every item."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from stock.exchange.safe_text import safe_text
from stock.screens.base import ShopScreen
from stock.screens.dialogs import Words
from stock.screens.orders import AHEAD_DAYS, cleared_sentence
from stock.screens.widgets.rows import Column, Rows
from stock.screens.wording import amount, counted, held

if TYPE_CHECKING:
    from stock.shop import Book
    from stock.shop.views.order_needs import NeedRow, OrderNeeds


class OrderScreen(ShopScreen):
    """Needs beside what is here.

    Args:
        order: Its reference.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "back", "Back"),
        Binding("t", "trace", "Trace", tooltip="Which lots its prints drew from"),
        Binding("p", "press", "Press log", tooltip="To its jobs on the press log"),
    ]

    def __init__(self, order: str) -> None:
        super().__init__()
        self.order = order

    def body(self) -> Iterable[Widget]:
        """Needs and verdicts."""
        yield Static("Working out its needs …", id="head", markup=False)
        with Horizontal(classes="pair"):
            yield Rows(
                (
                    Column("item", 13, flex=1),
                    Column("needs", 12, right=True),
                    Column("here", 12, right=True),
                    Column("short", 12, right=True),
                ),
                _cells,
                empty="Nothing is left to print of it.",
            )
            with VerticalScroll(classes="detail"):
                yield Static("", id="order-verdict", markup=False)

    def on_mount(self) -> None:
        """To the needs."""
        self.query_one(Rows).focus()
        super().on_mount()

    def look_again(self) -> None:
        """Needs from the week's snapshot, verdicts after."""
        from stock.shop.views.order_needs import needs_in

        order, keeper, day = self.order, self.shop_app.week, self.day
        self.look_at_week(lambda week: needs_in(week.snapshot, order), self._show)

        def judged(found: Any) -> None:
            lines = [cleared_sentence(job) for job in found.jobs if job.order == order]
            text = "\n".join(lines) or f"None of its lines is due within {AHEAD_DAYS} days."
            self.query_one("#order-verdict", Static).update(
                "\n".join(safe_text(line) for line in text.splitlines())
            )

        self.look(lambda book: keeper().clearance(book, day, AHEAD_DAYS), judged, group="clear")

    def _show(self, needs: OrderNeeds) -> None:
        self.query_one(Rows).show(needs.lines, key=lambda need: need.item)
        short = sum(need.on_hand < need.amount for need in needs.lines)
        items = counted(len(needs.lines), "item")
        state = f"short of {short}" if short else "all of it here"
        self.head(f"{self.order} needs {items}, {state}, other orders left aside")

    @on(Rows.Chosen)
    def _open(self, event: Rows.Chosen) -> None:
        from stock.screens.item import ItemScreen

        self.app.push_screen(ItemScreen(event.row.item))

    def action_trace(self) -> None:
        """Which lots its prints drew from."""
        order = self.order

        def read(book: Book) -> Any:
            from stock.shop.tracing import trace_of_order

            return trace_of_order(book, order)

        def show(found: Any) -> None:
            lines = [
                f"{touch.day} line {touch.line or '–'}: {held(touch.amount, touch.unit)} "
                f"{touch.lot.item} lot {touch.lot.lot}"
                for touch in found.touches
            ]
            self.app.push_screen(
                Words(f"Lots in {order}", "\n".join(lines) or "Nothing of it is printed yet.")
            )

        self.look(read, show, group="trace")

    def action_press(self) -> None:
        """To its jobs."""
        self.shop_app.go_to("press", self.order)

    def action_back(self) -> None:
        """To the screen before."""
        self.app.pop_screen()


def _cells(need: NeedRow) -> tuple[str, ...]:
    short = max(need.amount - need.on_hand, 0.0)
    return (
        *(need.item, amount(need.amount, need.unit), amount(need.on_hand, need.unit)),
        amount(short, need.unit) if short > 0 else "–",
    )
