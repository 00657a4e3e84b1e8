"""What if: the week's list beside the list with changes made; the book is not touched."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.containers import Horizontal
from textual.widget import Widget
from textual.widgets import Input, Label, Static

from stock.exchange.safe_text import safe_text
from stock.screens.base import ShopScreen
from stock.screens.widgets.rows import Column, Rows
from stock.screens.wording import chance, money, plain_money

if TYPE_CHECKING:
    from stock.plan.decisions import Decisions, ReorderLine
    from stock.plan.snapshot import Snapshot
    from stock.shop.what_if import Difference, WhatIf


class WhatIfScreen(ShopScreen):
    """Changes above, both lists below, side by side.

    Args:
        snapshot: What the list was planned from.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "back", "Back"),
        Binding("ctrl+x", "drop", "Drop changes", tooltip="Begin with the plain list again"),
    ]

    def __init__(self, snapshot: Snapshot) -> None:
        super().__init__()
        self.snapshot = snapshot
        self.changes: list[str] = []

    def body(self) -> Iterable[Widget]:
        """A field for the next change; what it does."""
        yield Static("What if …? The book is not touched.", id="head", markup=False)
        with Horizontal(classes="labelled"):
            yield Label("One change")
            yield Input(placeholder="lead BRAMBLE +5; Enter", id="change", compact=True)
        yield Static("", id="what-if-help", classes="note", markup=False)
        yield Rows(
            (
                Column("item", 12, flex=2),
                Column("now: packs", 10, right=True),
                Column("by", 10),
                Column("runs out", 8, right=True),
                Column("then: packs", 11, right=True),
                Column("by", 10),
                Column("runs out", 8, right=True),
                Column("now: cost", 10, right=True, goes=1),
                Column("then: cost", 10, right=True, goes=2),
            ),
            _cells,
            empty="Type a change above: both lists stand side by side here.",
        )

    def on_mount(self) -> None:
        """Type at once."""
        from stock.shop.what_if import QUESTIONS

        self.query_one("#what-if-help", Static).update("Changes: " + "; ".join(QUESTIONS))
        self.query_one("#change", Input).focus()
        self.query_one(Rows).show(())
        super().on_mount()

    @on(Input.Submitted, "#change")
    def _asked(self, event: Input.Submitted) -> None:
        text = event.value.strip()
        if text:
            self._compare([*self.changes, text])

    def _compare(self, changes: list[str]) -> None:
        from stock.shop.what_if import compare

        snapshot = self.snapshot
        self.say("Planning both lists …")

        def show(found: WhatIf) -> None:
            self.changes = changes
            self.query_one("#change", Input).value = ""
            self.query_one(Rows).show(found.differences, key=lambda one: one.item)
            before, after = _total(found.before), _total(found.after)
            self.head(
                f"If {'; '.join(found.said)}: {len(found.differences)} lines differ; "
                f"{money(before)} now, {money(after)} then."
            )
            self.say("Another change adds to these; Ctrl+X begins anew.")

        self.look(lambda _book: compare(snapshot, changes), show)

    def complain(self, text: str) -> None:
        """A change not understood stays in the field."""
        self.say(safe_text(f"✗ {text.replace('--what-if ', '')}"))

    def action_drop(self) -> None:
        """Begin with the plain list again."""
        self.changes = []
        self.query_one(Rows).show(())
        self.head("What if …? The book is not touched.")
        self.say("")

    def action_back(self) -> None:
        """To the list."""
        self.app.pop_screen()


def _total(weekly: Decisions) -> float:
    return sum(total.total for total in weekly.totals)


def _cells(one: Difference) -> tuple[str, ...]:
    now, then = _side(one.before), _side(one.after)
    return (one.item, *now[:3], *then[:3], now[3], then[3])


def _side(line: ReorderLine | None) -> tuple[str, ...]:
    if line is None:
        return ("–", "–", "–", "–")
    return (
        str(line.packs),
        line.order_by.isoformat(),
        chance(line.stockout_chance),
        plain_money(line.cost),
    )
