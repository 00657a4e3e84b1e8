"""Today: what needs a person now, with the key that leads there; the slots' levels beside it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from stock.clock import week_label
from stock.exchange.safe_text import safe_text
from stock.screens.base import ShopScreen
from stock.screens.orders import AHEAD_DAYS
from stock.screens.widgets.gauge import gauge
from stock.screens.widgets.rows import Column, Rows

if TYPE_CHECKING:
    from stock.shop import Book
    from stock.shop.imports import Imported
    from stock.shop.views.attention import Attention
    from stock.shop.views.stockroom import SlotRow


class TodayScreen(ShopScreen):
    """The day's list."""

    MODE = "today"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("i", "take_file", "Import", tooltip="Take in a file: orders, deliveries, items …"),
        Binding("h", "history", "History", tooltip="Every entry and movement, newest first"),
    ]

    def body(self) -> Iterable[Widget]:
        """A head and a table; the slots where there is room."""
        yield Static("Opening the book …", id="head", markup=False)
        with Horizontal(classes="pair"):
            yield Rows(
                (Column("kind", 6), Column("what needs you", 30, flex=1), Column("where", 11)),
                lambda one: (one.kind, one.text, one.where_name),
                empty="Nothing needs you.",
                id="today-rows",
            )
            with VerticalScroll(classes="detail wide-only"):
                yield Static("", id="today-slots", markup=False)
        yield Static("", id="today-detail", classes="note", markup=False)

    def on_mount(self) -> None:
        """To the list."""
        self.query_one(Rows).focus()
        super().on_mount()

    def look_again(self) -> None:
        """Quick things first; the plan's follow when it is made."""
        day = self.day

        def quick(found: tuple[list[Attention], list[SlotRow]]) -> None:
            known, slots = found
            self._show(known, planning=True)
            self.query_one("#today-slots", Static).update(safe_lines(slots_text(slots)))
            keeper = self.shop_app.week

            def of_plan(book: Book) -> list[Attention]:
                from stock.shop.views.attention import (
                    next_look_worth,
                    of_forecasts,
                    of_jobs,
                    of_week,
                )

                week = keeper().of(book, day)
                return [
                    *of_jobs(keeper().clearance(book, day, AHEAD_DAYS)),
                    *of_week(week),
                    *of_forecasts(book, day),
                    *next_look_worth(book, week),
                ]

            self.look(
                of_plan,
                lambda more: self._show([*known, *more], planning=False),
                group="week",
            )

        self.look(lambda book: _quick(book, day), quick)

    def _show(self, found: list[Attention], *, planning: bool) -> None:
        rows = self.query_one(Rows)
        rows.show(found, key=lambda one: one.text)
        day = self.day
        waiting = "  Planning …" if planning else ""
        count = f"{len(found)} things need you" if len(found) != 1 else "1 thing needs you"
        said = f"{count}. Enter goes there." if found else "nothing needs you."
        self.head(f"{day:%a} {day}, {week_label(day)}: {said}{waiting}")

    @on(Rows.Moved)
    def _whole(self, event: Rows.Moved) -> None:
        """The whole sentence of the row under the cursor: a narrow table cuts it."""
        text = event.row.text if event.row is not None else ""
        self.query_one("#today-detail", Static).update(safe_text(text))

    @on(Rows.Chosen)
    def _there(self, event: Rows.Chosen) -> None:
        """To the screen where the thing under the cursor is done."""
        where, _, what = event.row.where.partition(":")
        if where == "import":
            self.action_take_file(what)
        elif where == "demo":
            self.shop_app.look_around()
        else:
            self.shop_app.go_to(where, what)

    def action_take_file(self, kind: str = "") -> None:
        """Take in a file."""
        from stock.screens.first_run import import_form, import_sentence

        def taken(done: Imported) -> None:
            self.say(f"✓ {import_sentence(done)}")
            self.look_again()

        self.ask(import_form(self.day, kind), taken)

    def action_history(self) -> None:
        """Every entry."""
        from stock.screens.history import HistoryScreen

        self.app.push_screen(HistoryScreen())


def _quick(book: Book, day: Any) -> tuple[list[Attention], list[SlotRow]]:
    from stock.shop.views.attention import first_steps, from_book
    from stock.shop.views.stockroom import slots_now

    slots = slots_now(book)
    return [*first_steps(book), *from_book(book, day, slots)], slots


def slots_text(slots: list[SlotRow]) -> str:
    """Every slot as a bar."""
    if not slots:
        return "No machine slots yet."
    wide = max(len(slot.slot) for slot in slots)
    lines = ["Machine slots", ""]
    for slot in slots:
        lines.append(f"{slot.slot:<{wide}}  {gauge(slot.share)} {slot.share:4.0%}  {slot.item}")
    return "\n".join(lines)


def safe_lines(text: str) -> str:
    """Text of several lines, each made harmless."""
    return "\n".join(safe_text(line) for line in text.splitlines())
