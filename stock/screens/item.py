"""One item: its lots and containers, its weeks to come as a chart, and all that is done with them.

Enter on a lot lists what can be done with it; the usual deeds have keys of their own.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.widget import Widget
from textual.widgets import Static

from stock.screens import deeds
from stock.screens.base import ShopScreen
from stock.screens.dialogs import Question, Words
from stock.screens.widgets.picture import Picture
from stock.screens.widgets.projection import projection_text
from stock.screens.widgets.rows import Column, Rows
from stock.screens.wording import amount, chance, container_word, held, until

if TYPE_CHECKING:
    from stock.plan.decisions import Decisions, ItemState
    from stock.shop import Book
    from stock.shop.onhand import OnHand
    from stock.shop.views.stockroom import ItemFacts


class ItemScreen(ShopScreen):
    """Lots above, weeks to come below or beside.

    Args:
        sku: The item.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "back", "Back"),
        Binding("l", "load", "Load", tooltip="Load a slot with it"),
        Binding("w", "weigh", "Weigh", tooltip="What the scale says of the container here"),
        Binding("c", "count", "Count", tooltip="Count the lot here, blind"),
        Binding("x", "deed('scrap')", "Scrap", tooltip="Throw it away, spilled or spoilt"),
        Binding("a", "deed('quarantine')", "Set aside", tooltip="It counts for nothing then"),
        Binding("r", "deed('release')", "Release", tooltip="Bring it back from quarantine"),
        Binding("b", "deed('give back')", "Send back", show=False, tooltip="To its supplier"),
        Binding("m", "deed('move')", "Move", show=False, tooltip="To another shelf"),
        Binding("o", "deed('open')", "Open", show=False, tooltip="Open a sealed pack"),
        Binding("d", "deed('decant')", "Pour off", show=False, tooltip="Into a new container"),
        Binding("n", "mix", "Mix", show=False, tooltip="Mix it from its concentrate"),
        Binding("v", "service", "Maintenance", show=False, tooltip="Maintenance done with it"),
        Binding("t", "trace", "Trace", tooltip="Which orders the lot here touched"),
        Binding("h", "history", "History", tooltip="Every movement of it"),
    ]

    def __init__(self, sku: str) -> None:
        super().__init__()
        self.sku = sku
        self.facts: ItemFacts | None = None

    def body(self) -> Iterable[Widget]:
        """Lots and chart."""
        yield Static("Reading …", id="head", markup=False)
        with Horizontal(classes="pair"):
            yield Rows(
                (
                    Column("lot", 10, flex=1),
                    Column("place", 10),
                    Column("container", 9),
                    Column("amount", 11, right=True),
                    Column("use by", 10),
                    Column("sealed to", 10),
                    Column("owner", 8, goes=1),
                ),
                _cells,
                empty="None of it is here.",
            )
            with Vertical(classes="detail tall"):
                yield Static("", id="item-state", classes="note", markup=False)
                yield Picture(id="item-chart")

    def on_mount(self) -> None:
        """To the lots."""
        self.query_one(Rows).focus()
        super().on_mount()

    def look_again(self) -> None:
        """Lots at once; the plan's view of the item when it is made."""
        sku = self.sku

        def read(book: Book) -> tuple[ItemFacts, list[OnHand]]:
            from stock.shop.views.stockroom import facts_of_item, lots_of_item

            return facts_of_item(book, sku), lots_of_item(book, sku)

        def show(found: tuple[ItemFacts, list[OnHand]]) -> None:
            self.facts, lots = found
            self.query_one(Rows).show(lots, key=lambda row: (row.lot, row.place, row.container))
            total = sum(row.amount for row in lots if row.place_kind != "quarantine")
            self.head(
                f"{sku} {self.facts.name}: {held(total, self.facts.unit)} in {len(lots)} lots and "
                "containers. Enter: what to do"
            )
            self.refresh_bindings()
            self.look_at_week(lambda week: week.weekly, self._planned)

        self.look(read, show)

    def _planned(self, weekly: Decisions) -> None:
        state = next((one for one in weekly.states if one.item == self.sku), None)
        said, chart = self.query_one("#item-state", Static), self.query_one(Picture)
        if state is None:
            said.update("Nothing is planned for it.")
            chart.clear()
            return
        said.update(state_sentence(state))
        chart.show(
            partial(_drawn, state, weekly), lambda width: projection_text(state, weekly.day, width)
        )

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Mixing and maintenance only where the item is of that kind."""
        if action == "mix":
            return self.facts is not None and bool(self.facts.mixed_from)
        if action == "service":
            return self.facts is not None and self.facts.kind == "supply"
        row = self.query_one(Rows).current if self.is_attached else None
        if action == "load" and self.facts is not None:
            return self.facts.kind == "ink"
        if action == "weigh":
            return row is not None and (row.place_kind == "slot" or bool(row.container))
        if action == "deed":
            return row is not None and _fits(str(parameters[0]), row)
        return super().check_action(action, parameters)

    @on(Rows.Moved)
    def _other_row(self) -> None:
        self.refresh_bindings()

    def _row(self) -> OnHand | None:
        row: OnHand | None = self.query_one(Rows).current
        if row is None:
            self.say(f"None of {self.sku} is here.")
        return row

    @on(Rows.Chosen)
    def _menu(self, event: Rows.Chosen) -> None:
        """What can be done with the lot under the cursor."""
        answers = []
        acts = {}
        for key, active in self.active_bindings.items():
            binding = active.binding
            if binding.action.startswith(("deed(", "load", "weigh", "count", "trace")):
                if not active.enabled or len(key) > 1:
                    continue
                does = f"{binding.description}: {active.tooltip}"
                answers.append((key, does))
                acts[key] = binding.action
        row = event.row

        async def answered(answer: str | None) -> None:
            if answer:
                await self.run_action(acts[answer])

        self.app.push_screen(
            Question(f"{self.sku} lot {row.lot} at {row.place}", answers), answered
        )

    def action_deed(self, deed: str) -> None:
        """Do something with the lot under the cursor."""
        row = self._row()
        if row is None:
            return
        self.ask(
            deeds.choice_form(
                *(deed, self.day),
                sku=row.item,
                unit=row.unit,
                lot=row.lot,
                place=row.place,
                container=row.container,
                owner=row.owner,
            )
        )

    def action_load(self) -> None:
        """Load a slot with it."""
        row = self.query_one(Rows).current
        shelved = row is not None and row.place_kind == "shelf"
        slot = row.place if row is not None and row.place_kind == "slot" else ""
        self.ask(
            deeds.load_form(
                self.day, slot=slot, sku=self.sku, lot=row.lot if shelved and row else ""
            )
        )

    def action_weigh(self) -> None:
        """Weigh the container or slot under the cursor."""
        row = self._row()
        if row is not None:
            what = row.place if row.place_kind == "slot" else row.container
            self.ask(deeds.weigh_form(self.day, what=what))

    def action_count(self) -> None:
        """Count the lot under the cursor, or the item where none is here."""
        row = self.query_one(Rows).current
        if row is None and self.facts is not None:
            self.ask(deeds.count_form(self.day, sku=self.sku, unit=self.facts.unit))
        elif row is not None and row.place_kind == "slot":
            self.say("What is in a machine is weighed (w), not counted.")
        elif row is not None:
            self.ask(
                deeds.count_form(
                    self.day,
                    sku=row.item,
                    unit=row.unit,
                    place=row.place,
                    lot=row.lot,
                    container=row.container,
                    owner=row.owner,
                )
            )

    def action_mix(self) -> None:
        """Mix it."""
        if self.facts is not None:
            self.ask(deeds.mix_form(self.day, sku=self.sku, unit=self.facts.unit))

    def action_service(self) -> None:
        """Maintenance done."""
        if self.facts is not None:
            self.ask(deeds.service_form(self.day, sku=self.sku, unit=self.facts.unit))

    def action_trace(self) -> None:
        """Which orders the lot under the cursor touched."""
        row = self._row()
        if row is None:
            return

        def read(book: Book) -> Any:
            from stock.shop.tracing import trace_of_lot

            return trace_of_lot(book, row.lot, row.item)

        self.look(
            read,
            lambda found: self.app.push_screen(
                Words(f"Orders that {row.item} lot {row.lot} touched", trace_text(found))
            ),
            group="trace",
        )

    def action_history(self) -> None:
        """Its movements."""
        from stock.screens.history import HistoryScreen

        self.app.push_screen(HistoryScreen(sku=self.sku))

    def action_back(self) -> None:
        """To the screen before."""
        self.app.pop_screen()


def _fits(deed: str, row: OnHand) -> bool:
    """Whether a deed can be done with what lies there."""
    if deed == "release":
        return row.place_kind == "quarantine"
    if deed in ("move", "open", "decant"):
        liquid = row.unit != "each"
        sealed = not row.container
        fits = {"move": True, "open": liquid and sealed, "decant": liquid}
        return row.place_kind == "shelf" and fits[deed]
    if deed == "quarantine":
        return row.place_kind != "quarantine"
    if deed == "give back":
        return row.place_kind != "slot" and not row.owner
    return True


def _drawn(state: ItemState, weekly: Decisions, width: int, height: int) -> str:
    from stock.shop.stock_chart import stock_chart

    return stock_chart(state, weekly, width=width, height=height)


def _cells(row: OnHand) -> tuple[str, ...]:
    return (
        *(row.lot, row.place, container_word(row.container, row.unit), held(row.amount, row.unit)),
        *(until(row.effective_expiry), until(row.sealed_expiry), row.owner or "shop"),
    )


def state_sentence(state: ItemState) -> str:
    """Where an item stands, in a sentence or two."""
    unit = state.unit
    text = (
        f"Usable {amount(state.on_hand_usable, unit)}, on order {amount(state.on_order, unit)}; "
        f"need {amount(state.need.total, unit)} in {state.protection_days:.0f} days; "
        f"runs out before the next delivery with chance {chance(state.stockout_chance)}."
    )
    if state.level:
        text += (
            f" Order below {amount(state.level, unit)}, up to {amount(state.order_up_to, unit)}."
        )
    return f"{text} {state.why_not}".rstrip()


def trace_text(found: Any) -> str:
    """A trace, a line a run."""
    if not found.touches:
        return "None yet."
    return "\n".join(
        f"{touch.day} {touch.order or 'no order'}/{touch.line or '–'} on {touch.printer or '–'}: "
        f"{held(touch.amount, touch.unit)} ({touch.share:.0%} of its {touch.lot.item})"
        + (f" by way of {', '.join(touch.by_way_of)}" if touch.by_way_of else "")
        for touch in found.touches
    )
