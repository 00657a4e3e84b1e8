"""Reorder: the week's list; each line's arithmetic and chart beside it; packs edited, accepted."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from stock.exchange.safe_text import safe_text
from stock.screens.base import ShopScreen
from stock.screens.dialogs import Answers, Field, Form, Question, Words, whole_number
from stock.screens.widgets.picture import Picture
from stock.screens.widgets.projection import projection_text
from stock.screens.widgets.rows import Column, Rows
from stock.screens.wording import amount, chance, counted, money, plain_money

if TYPE_CHECKING:
    from stock.plan.decisions import Decisions, ReorderLine
    from stock.plan.snapshot import Snapshot
    from stock.shop import Book
    from stock.shop.accepting import Accepted
    from stock.shop.consequence import Consequence
    from stock.shop.views.week_at_hand import Week

HIGH = 44
"""From so many lines on there is room for a line's arithmetic above its chart."""
LEAST_SAID = 0.005
"""A chance below this reads as nothing."""


class ReorderScreen(ShopScreen):
    """What to buy this week, and why."""

    MODE = "reorder"
    VERTICAL_BREAKPOINTS = [(0, "-low"), (HIGH, "-high")]  # noqa: RUF012
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("plus,equals_sign", "more(1)", "More", key_display="+", tooltip="One pack more"),
        Binding("minus", "more(-1)", "Less", key_display="-", tooltip="One pack less"),
        Binding("a", "accept", "Accept", tooltip="Make draft purchase orders of the lines"),
        Binding("c", "chart", "Chart/sums", tooltip="The line's chart, or its arithmetic again"),
        Binding("w", "what_if", "What if", tooltip="Compare with a change; the book stays"),
        Binding("p", "purchases", "Purchases", tooltip="Purchase orders: send, receive, cancel"),
        Binding("n", "notes", "Notes", show=False, tooltip="Totals by supplier, and remarks"),
        Binding("o", "open_item", "Item", show=False, tooltip="The item under the cursor"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.weekly: Decisions | None = None
        self.snapshot: Snapshot | None = None
        self.edited: dict[tuple[str, int], int] = {}
        self.after: dict[tuple[str, int], Consequence] = {}

    def body(self) -> Iterable[Widget]:
        """The list and the line under the cursor."""
        yield Static("Planning …", id="head", markup=False)
        with Horizontal(classes="pair"):
            yield Rows(
                (
                    Column("item", 12, flex=2),
                    Column("packs", 9, right=True),
                    Column("order by", 10),
                    Column("runs out", 8, right=True),
                    Column("expires", 7, right=True),
                    Column("from", 8, flex=1),
                    Column("cost", 9, right=True),
                ),
                self._cells,
                empty="Nothing to order. n: remarks   w: what if",
            )
            with VerticalScroll(classes="detail", id="reorder-side"):
                yield Static("", id="reorder-detail", markup=False)
                yield Picture(id="reorder-chart")

    def on_mount(self) -> None:
        """To the list."""
        self.query_one(Rows).focus()
        super().on_mount()

    def look_again(self) -> None:
        """Plan in a thread; what was edited stays where the list's number stays."""

        def planned(week: Week) -> tuple[Snapshot, Decisions]:
            return week.snapshot, week.weekly

        self.look_at_week(planned, self._show)

    def _show(self, found: tuple[Snapshot, Decisions]) -> None:
        if self.weekly is not found[1]:
            self.after = {}
        self.snapshot, self.weekly = found
        lines = {(line.item, line.packs) for line in self.weekly.lines}
        self.edited = {key: packs for key, packs in self.edited.items() if key in lines}
        rows = self.query_one(Rows)
        rows.show(self.weekly.lines, key=lambda line: line.item)
        asked, self.pointed = self.pointed, ""
        place = next((n for n, line in enumerate(self.weekly.lines) if line.item == asked), None)
        if place is not None:
            rows.go_to(place)
        self._total()

    def packs(self, line: ReorderLine) -> int:
        """Packs of a line as edited, else as planned."""
        return self.edited.get((line.item, line.packs), line.packs)

    def _cost(self, line: ReorderLine) -> float:
        packs = self.packs(line)
        known = self.after.get((line.item, packs))
        if known is not None:
            return known.cost
        return line.cost * packs / line.packs if line.packs else 0.0

    def _cells(self, line: ReorderLine) -> tuple[str, ...]:
        packs = self.packs(line)
        after = self.after.get((line.item, packs)) if packs != line.packs else None
        return (
            line.item,
            f"{packs}" if packs == line.packs else f"{packs} ({line.packs})",
            line.order_by.isoformat(),
            chance(line.stockout_chance),
            chance(after.expiry_chance if after else line.expiry_chance),
            line.supplier,
            plain_money(self._cost(line)),
        )

    def _total(self) -> None:
        weekly = self.weekly
        if weekly is None:
            return
        total = sum(self._cost(line) for line in weekly.lines)
        suppliers = len({line.supplier for line in weekly.lines})
        lines, sellers = counted(len(weekly.lines), "line"), counted(suppliers, "supplier")
        notes = f"  n: {counted(len(weekly.findings), 'remark')}" if weekly.findings else ""
        self.head(
            f"{lines} from {sellers}, {money(total)} for {weekly.day}. Enter: packs{notes}"
            if weekly.lines
            else f"Nothing to order on {weekly.day}.{notes}"
        )
        self.query_one(Rows).refresh()

    def _line(self) -> ReorderLine | None:
        line: ReorderLine | None = self.query_one(Rows).current
        return line

    @on(Rows.Moved)
    def _detail(self) -> None:
        line, weekly = self._line(), self.weekly
        text, picture = self.query_one("#reorder-detail", Static), self.query_one(Picture)
        if line is None or weekly is None:
            text.update("")
            picture.clear()
            return
        state = weekly.state(line.item)
        picture.show(
            partial(_drawn, state, weekly), lambda width: projection_text(state, weekly.day, width)
        )
        packs = self.packs(line)
        reasons = [f"{line.item} {line.name}".rstrip(), *(f"• {why}" for why in line.why)]
        if packs != line.packs:
            reasons.insert(1, f"• By hand: {packs} packs instead of {line.packs}.")
            reasons.insert(2, f"• {self._meaning(line, packs)}")
        text.update("\n".join(safe_text(part) for part in reasons))

    def _meaning(self, line: ReorderLine, packs: int) -> str:
        after = self.after.get((line.item, packs))
        return "What that means is being worked out …" if after is None else meaning(line, after)

    def _edit(self, line: ReorderLine, packs: int) -> None:
        key = (line.item, line.packs)
        if packs == line.packs:
            self.edited.pop(key, None)
        else:
            self.edited[key] = packs
            self._work_out(line, packs, lambda _after: self._worked_out())
        self._total()
        self._detail()

    def _worked_out(self) -> None:
        self._total()
        self._detail()

    def _work_out(self, line: ReorderLine, packs: int, then: Any) -> None:
        """What so many packs would mean, once it is known."""
        known = self.after.get((line.item, packs))
        snapshot = self.snapshot
        if known is not None:
            then(known)
        elif snapshot is not None:
            from stock.shop.consequence import consequence

            def found(after: Consequence) -> None:
                self.after[line.item, packs] = after
                then(after)

            self.look(lambda _book: consequence(snapshot, line, packs), found, group="meaning")

    def action_more(self, by: int) -> None:
        """A pack more or less of the line under the cursor; none leaves it out."""
        line = self._line()
        if line is not None:
            self._edit(line, max(0, self.packs(line) + by))

    @on(Rows.Chosen)
    def _type_packs(self, event: Rows.Chosen) -> None:
        """Type a number of packs and see what it would mean."""
        line: ReorderLine = event.row

        def typed(form: Form, answers: Answers) -> None:
            text = answers["packs"]
            if whole_number()(text):
                form.means("")
                return
            packs = int(text)
            form.means(f"{packs} packs: being worked out …")
            self._work_out(line, packs, lambda after: form.means(meaning(line, after)))

        form = Form(
            f"Packs of {line.item} from {line.supplier}",
            (Field("packs", "Packs", str(self.packs(line)), check=whole_number()),),
            note=f"The list says {line.packs}; 0 leaves the line out. Ordering nothing it runs out "
            f"before the next chance delivers with chance {chance(line.stockout_chance)}.",
            typed=typed,
        )
        self.ask(form, lambda answers: self._edit(line, int(answers["packs"])))

    def action_chart(self) -> None:
        """The chart, or the arithmetic again, where there is no room for both."""
        self.toggle_class("-charted")
        self.query_one("#reorder-side").toggle_class("tall")

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """A wide and high window shows chart and arithmetic at once."""
        if action == "chart":
            return not (self.has_class("-wide") and self.has_class("-high"))
        return super().check_action(action, parameters)

    def on_resize(self) -> None:
        """The keys in force change with the room."""
        self.call_after_refresh(self.refresh_bindings)

    def action_what_if(self) -> None:
        """Compare the list with one made for a change."""
        if self.snapshot is None:
            self.say("The list is still being planned.")
            return
        from stock.screens.what_if import WhatIfScreen

        self.app.push_screen(WhatIfScreen(self.snapshot))

    def action_purchases(self) -> None:
        """Purchase orders."""
        from stock.screens.purchases import PurchasesScreen

        self.app.push_screen(PurchasesScreen())

    def action_open_item(self) -> None:
        """The item under the cursor."""
        line = self._line()
        if line is not None:
            from stock.screens.item import ItemScreen

            self.app.push_screen(ItemScreen(line.item))

    def action_notes(self) -> None:
        """Totals by supplier, and what the planner remarks."""
        weekly = self.weekly
        if weekly is None:
            return
        lines = [
            f"{total.supplier}: {total.lines} lines, goods {money(total.goods)}, freight "
            f"{money(total.freight)}; order on {total.order_on}."
            + (
                f" {money(total.short_of_minimum)} short of its minimum {money(total.minimum)}."
                if total.short_of_minimum
                else ""
            )
            for total in weekly.totals
        ]
        self.app.push_screen(
            Words(
                f"The week's list of {weekly.day}",
                "\n".join([*lines, "", *weekly.findings]) or "Nothing to remark.",
            )
        )

    def action_accept(self) -> None:
        """Ask for which supplier, then make draft purchase orders."""
        weekly = self.weekly
        if weekly is None or not weekly.lines:
            self.say("There is nothing to accept.")
            return
        suppliers = list(dict.fromkeys(line.supplier for line in weekly.lines))[:9]
        answers = [("a", f"all {len(weekly.lines)} lines")]
        for number, code in enumerate(suppliers, 1):
            own = [line for line in weekly.lines if line.supplier == code]
            cost = money(sum(self._cost(line) for line in own))
            answers.append((f"{number}", f"only {code}: {len(own)} lines, {cost}"))

        def answered(answer: str | None) -> None:
            if answer:
                self._accept("" if answer == "a" else suppliers[int(answer) - 1])

        self.app.push_screen(
            Question("Make draft purchase orders of the list? Nothing is sent.", answers), answered
        )

    def _accept(self, supplier: str) -> None:
        weekly, snapshot, day = self.weekly, self.snapshot, self.day
        if weekly is None:
            return
        packs = {
            line.item: self.packs(line)
            for line in weekly.lines
            if supplier in ("", line.supplier) and self.packs(line) != line.packs
        }

        def act(book: Book) -> Accepted:
            from stock.shop.accepting import accept_reorder
            from stock.shop.forecast_log import keep_needs
            from stock.shop.station import who

            accepted = accept_reorder(
                book, weekly, on=day, supplier_code=supplier, packs=packs, who=who()
            )
            keep_needs(book, day, snapshot)
            return accepted

        def done(accepted: Accepted) -> None:
            drafts = ", ".join(purchase.ref for purchase in accepted.purchases)
            self.say(
                f"✓ {len(accepted.added)} lines on draft purchase orders {drafts}; p shows them. "
                + " ".join(accepted.notes)
            )
            self.look_again()

        self.post(act, done)


def _drawn(state: Any, weekly: Decisions, width: int, height: int) -> str:
    from stock.shop.stock_chart import stock_chart

    return stock_chart(state, weekly, width=width, height=height)


def meaning(line: ReorderLine, after: Consequence) -> str:
    """What so many packs would mean, in a sentence or two."""
    text = (
        f"{after.packs} packs ({amount(after.amount, line.unit)}, {money(after.cost)}): runs out "
        f"before the next chance delivers with chance {chance(after.stockout_chance)}"
    )
    if after.before_arrival >= LEAST_SAID:
        text += f", {chance(after.before_arrival)} of it before this order can be here"
    if after.left_at_expiry is not None:
        text += (
            f"; some of it expires with chance {chance(after.expiry_chance)}, "
            f"{amount(after.left_at_expiry, line.unit)} of it on average"
        )
    return text + "."
