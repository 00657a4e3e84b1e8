"""Reorder: the week's list; each line's arithmetic and chart beside it; packs edited, accepted."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.widget import Widget
from textual.widgets import DataTable, Static

from stock.exchange.safe_text import safe_text
from stock.screens.base import ShopScreen
from stock.screens.dialogs import Question
from stock.screens.widgets.projection import projection_text

if TYPE_CHECKING:
    from stock.plan.decisions import Decisions, ReorderLine


class ReorderScreen(ShopScreen):
    """What to buy this week, and why."""

    MODE = "reorder"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("plus,equals_sign", "more", "One pack more", key_display="+"),
        Binding("minus", "less", "One pack less", key_display="-"),
        Binding("a", "accept", "Accept", tooltip="Make draft purchase orders of the lines"),
        Binding("c", "chart", "Chart/sums", tooltip="The line's chart, or its arithmetic again"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.weekly: Decisions | None = None
        self.packs: dict[str, int] = {}
        self.chart = False

    def body(self) -> Iterable[Widget]:
        """The list and the line under the cursor."""
        yield Static("Planning …", id="reorder-head", classes="head", markup=False)
        with Horizontal(classes="side"):
            table: DataTable[str] = DataTable(
                id="reorder-table", cursor_type="row", zebra_stripes=True
            )
            yield table
            with VerticalScroll(id="detail"):
                yield Static("", id="reorder-detail", markup=False)

    def on_mount(self) -> None:
        """Columns."""
        table = self.query_one("#reorder-table", DataTable)
        table.add_columns("item", "packs", "by", "runs out", "from", "cost")
        table.focus()
        super().on_mount()

    def look_again(self) -> None:
        """Plan in a thread."""
        from stock.shop.planning import reorder_list

        day = self.shop_app.business_day()
        self.look(lambda book: reorder_list(book, day), self._show)

    def _show(self, weekly: Decisions) -> None:
        self.weekly = weekly
        self.packs = {line.item: line.packs for line in weekly.lines}
        self._rows()

    def _cost(self, line: ReorderLine) -> float:
        packs = self.packs[line.item]
        return line.cost / 100 * packs / line.packs if line.packs else 0.0

    def _rows(self) -> None:
        weekly = self.weekly
        if weekly is None:
            return
        table = self.query_one("#reorder-table", DataTable)
        keep = table.cursor_row
        table.clear()
        for line in weekly.lines:
            packs = self.packs[line.item]
            table.add_row(
                safe_text(line.item),
                f"{packs}" + ("" if packs == line.packs else f" (list: {line.packs})"),
                line.order_by.isoformat()[5:],
                f"{line.stockout_chance:.0%}",
                safe_text(line.supplier),
                f"{self._cost(line):,.2f}",
                key=f"{line.item}/{line.supplier}",
            )
        if weekly.lines:
            table.move_cursor(row=min(keep, len(weekly.lines) - 1))
        total = sum(self._cost(line) for line in weekly.lines)
        suppliers = len({line.supplier for line in weekly.lines})
        self.query_one("#reorder-head", Static).update(
            f"{len(weekly.lines)} lines from {suppliers} suppliers, {total:,.2f} "
            f"{weekly.currency}, for {weekly.day}. a accepts them as draft purchase orders."
            if weekly.lines
            else f"Nothing to order on {weekly.day}."
        )
        self._detail()

    def _current(self) -> ReorderLine | None:
        row = self.query_one("#reorder-table", DataTable).cursor_row
        if self.weekly is None or not 0 <= row < len(self.weekly.lines):
            return None
        return self.weekly.lines[row]

    @on(DataTable.RowHighlighted, "#reorder-table")
    def _detail(self) -> None:
        line = self._current()
        if line is None or self.weekly is None:
            self.query_one("#reorder-detail", Static).update("")
            return
        if self.chart:
            width = max(self.query_one("#detail").size.width - 3, 24)
            text = projection_text(self.weekly.state(line.item), self.weekly.day, width)
        else:
            packs = self.packs[line.item]
            text = f"{line.item}\n" + "\n".join(f"• {reason}" for reason in line.why)
            if packs != line.packs:
                text += f"\n• By hand: {packs} packs instead of {line.packs}."
        self.query_one("#reorder-detail", Static).update(
            "\n".join(safe_text(part) for part in text.splitlines())
        )

    def _change(self, by: int) -> None:
        line = self._current()
        if line is None:
            return
        self.packs[line.item] = max(0, self.packs[line.item] + by)
        self._rows()

    def action_more(self) -> None:
        """One pack more of the line under the cursor."""
        self._change(1)

    def action_less(self) -> None:
        """One pack less; none leaves the line out."""
        self._change(-1)

    def action_chart(self) -> None:
        """The chart, or the arithmetic again."""
        self.chart = not self.chart
        self._detail()

    def action_accept(self) -> None:
        """Ask for which supplier, then make draft purchase orders."""
        line = self._current()
        if line is None or self.weekly is None:
            self.say("There is nothing to accept.")
            return
        self.app.push_screen(
            Question(
                "Make draft purchase orders of the list? Nothing is sent.",
                (
                    ("s", f"only {line.supplier}'s lines"),
                    ("a", "all lines"),
                ),
            ),
            lambda answer: self._accepted(answer, line.supplier),
        )

    def _accepted(self, answer: str | None, supplier: str) -> None:
        weekly = self.weekly
        if not answer or weekly is None:
            return
        from stock.shop.accepting import accept_reorder
        from stock.shop.station import who

        only = supplier if answer == "s" else ""
        packs = {
            line.item: self.packs[line.item]
            for line in weekly.lines
            if only in ("", line.supplier) and self.packs[line.item] != line.packs
        }
        day = self.shop_app.business_day()

        def done(accepted: Any) -> None:
            drafts = ", ".join(purchase.ref for purchase in accepted.purchases)
            notes = (" " + " ".join(accepted.notes)) if accepted.notes else ""
            self.say(f"✓ {len(accepted.added)} lines on draft purchase orders {drafts}.{notes}")
            self.look_again()

        self.post(
            lambda book: accept_reorder(
                book,
                weekly,
                on=day,
                supplier_code=only,
                packs=packs,
                who=who(),
            ),
            done,
        )
