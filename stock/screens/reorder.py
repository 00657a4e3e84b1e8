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
from stock.screens.dialogs import Field, Form, Question
from stock.screens.widgets.projection import projection_text

if TYPE_CHECKING:
    from stock.plan.decisions import Decisions, ReorderLine
    from stock.plan.snapshot import Snapshot
    from stock.shop import Book
    from stock.shop.consequence import Consequence
    from stock.shop.what_if import WhatIf


class ReorderScreen(ShopScreen):
    """What to buy this week, and why."""

    MODE = "reorder"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("plus,equals_sign", "more", "One pack more", key_display="+"),
        Binding("minus", "less", "One pack less", key_display="-"),
        Binding("a", "accept", "Accept", tooltip="Make draft purchase orders of the lines"),
        Binding("c", "chart", "Chart/sums", tooltip="The line's chart, or its arithmetic again"),
        Binding("t", "twin", "Text chart", tooltip="The chart as text, or drawn", show=False),
        Binding("w", "what_if", "What if", tooltip="Compare with a change; the book stays"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.weekly: Decisions | None = None
        self.packs: dict[str, int] = {}
        self.chart = False
        self.snapshot: Snapshot | None = None
        self.after: dict[str, Consequence] = {}

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
        from stock.plan.decide import plan
        from stock.shop.planning import snapshot_of

        day = self.shop_app.business_day()

        def look(book: Book) -> tuple[Snapshot, Decisions]:
            snapshot = snapshot_of(book, day)
            return snapshot, plan(snapshot)

        self.look(look, self._show)

    def _show(self, found: tuple[Snapshot, Decisions]) -> None:
        self.snapshot, weekly = found
        self.weekly = weekly
        self.after = {}
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
        if self.chart and not self.shop_app.text_charts:
            from rich.text import Text

            from stock.shop.stock_chart import stock_chart

            size = self.query_one("#detail").size
            drawn = stock_chart(
                self.weekly.state(line.item),
                self.weekly,
                width=max(size.width - 3, 30),
                height=max(size.height - 1, 12),
            )
            self.query_one("#reorder-detail", Static).update(Text.from_ansi(drawn))
            return
        if self.chart:
            width = max(self.query_one("#detail").size.width - 3, 24)
            text = projection_text(self.weekly.state(line.item), self.weekly.day, width)
        else:
            packs = self.packs[line.item]
            text = f"{line.item}\n" + "\n".join(f"• {reason}" for reason in line.why)
            if packs != line.packs:
                text += f"\n• By hand: {packs} packs instead of {line.packs}."
                text += self._meaning(line, packs)
        self.query_one("#reorder-detail", Static).update(
            "\n".join(safe_text(part) for part in text.splitlines())
        )

    def _meaning(self, line: ReorderLine, packs: int) -> str:
        """What the changed number means, once it is reckoned."""
        after = self.after.get(line.item)
        if after is None or after.packs != packs:
            return "\n• What that means is being reckoned …"
        text = (
            f"\n• Then it runs out before the next chance with chance {after.stockout_chance:.0%}"
        )
        if after.left_at_expiry is not None:
            text += f"; {after.left_at_expiry:,.4g} {line.unit} of it would be left at its date"
        return text + "."

    def _change(self, by: int) -> None:
        line = self._current()
        if line is None:
            return
        packs = self.packs[line.item] = max(0, self.packs[line.item] + by)
        self._rows()
        snapshot = self.snapshot
        if packs == line.packs or snapshot is None:
            return
        from stock.shop.consequence import consequence

        def known(after: Consequence) -> None:
            self.after[line.item] = after
            self._detail()

        self.look(lambda _book: consequence(snapshot, line, packs), known, group="meaning")

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

    def action_twin(self) -> None:
        """The chart as text for those who do not look, or drawn again."""
        self.shop_app.text_charts = not self.shop_app.text_charts
        self._detail()

    def action_what_if(self) -> None:
        """Ask for a change and compare the two lists side by side."""
        snapshot = self.snapshot
        if snapshot is None:
            self.say("The list is still being planned.")
            return

        def answered(answer: dict[str, str] | None) -> None:
            if answer is None or not answer["change"]:
                return
            from stock.shop.what_if import compare

            self.look(lambda _book: compare(snapshot, [answer["change"]]), self._compared)

        from stock.shop.what_if import QUESTIONS

        self.app.push_screen(
            Form(
                "What if …? (the book is not touched)",
                (Field("change", "Change", hint="lead BRAMBLE +5"),),
                note="For example: " + "; ".join(QUESTIONS),
            ),
            answered,
        )

    def _compared(self, found: WhatIf) -> None:
        rows = []
        for one in found.differences:
            sides = [
                f"{side.packs} packs by {side.order_by:%m-%d}" if side else "–"
                for side in (one.before, one.after)
            ]
            rows.append(f"{one.item:<16} {sides[0]:<18} {sides[1]}")
        head = f"What if {'; '.join(found.said)}?"
        text = (
            "\n".join([f"{'item':<16} {'now':<18} then", *rows])
            if rows
            else "The list would stay as it is."
        )
        self.query_one("#reorder-detail", Static).update(
            safe_text(head) + "\n" + "\n".join(safe_text(row) for row in text.splitlines())
        )
        self.say(f"{len(rows)} lines would differ. An arrow key shows the line's sums again.")

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
