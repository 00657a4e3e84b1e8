"""Blind count: shelf by shelf, what lies there is named but never how much the book expects.

Typed figures stay here until all of them are posted as one entry; the differences come after.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.containers import Horizontal
from textual.widget import Widget
from textual.widgets import Input, Label, Static

from stock.exchange.safe_text import safe_text
from stock.screens.base import ShopScreen
from stock.screens.dialogs import Field, Form, Question, needed
from stock.screens.widgets.rows import Column, Rows
from stock.screens.wording import container_word, counted

if TYPE_CHECKING:
    from stock.shop import Book
    from stock.shop.counting import Counted, SheetLine

KINDS = ("", "ink", "pretreat", "blank", "supply")


class CountScreen(ShopScreen):
    """One sheet; Enter keeps a figure and goes to the next line."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+s", "done", "Post the count"),
        Binding("ctrl+k", "kind", "Kind", tooltip="All, or one kind of item"),
        Binding("up", "line(-1)", "Line before", show=False, priority=True),
        Binding("down", "line(1)", "Next line", show=False, priority=True),
        Binding("escape", "back", "Back"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.kind = ""
        self.counted: dict[SheetLine, str] = {}
        self.at: SheetLine | None = None

    def body(self) -> Iterable[Widget]:
        """The field for the figure, the sheet below."""
        yield Static("Reading …", id="head", markup=False)
        with Horizontal(classes="labelled"):
            yield Label("Counted", id="count-label")
            yield Input(
                placeholder="in the unit below, or packs as 2p; Enter: next line",
                id="counted",
                compact=True,
            )
        yield Static("", id="count-wrong", classes="note", markup=False)
        yield Rows(
            (
                Column("place", 9),
                Column("item", 13, flex=1),
                Column("lot", 12, flex=1),
                Column("container", 9),
                Column("owner", 8, goes=1),
                Column("counted", 10, right=True),
                Column("unit", 4),
                Column("name", 12, flex=2, goes=2),
            ),
            self._cells,
            empty="Nothing lies on a shelf: receive something first (2).",
        )

    def on_mount(self) -> None:
        """Type figures at once."""
        self.query_one("#counted", Input).focus()
        super().on_mount()

    def look_again(self) -> None:
        """Read the sheet; figures typed so far stay."""
        kind = self.kind

        def read(book: Book) -> list[SheetLine]:
            from stock.shop.counting import count_sheet

            return count_sheet(book, kinds=(kind,) if kind else ())

        self.look(read, self._show)

    def _show(self, lines: list[SheetLine]) -> None:
        self.query_one(Rows).show(lines, key=lambda line: line)
        self._said()

    def _said(self) -> None:
        rows = self.query_one(Rows)
        kind = f" of {self.kind}" if self.kind else ""
        self.head(
            f"Blind count: {counted(rows.count, 'line')}{kind}, {len(self.counted)} counted. "
            "The book's figures come afterwards."
        )

    def _cells(self, line: SheetLine) -> tuple[str, ...]:
        return (
            *(line.place, line.item, line.lot, container_word(line.container, line.unit)),
            *(line.owner or "shop", self.counted.get(line, ""), line.unit, line.name),
        )

    @on(Rows.Moved)
    def _line_changed(self) -> None:
        line = self.query_one(Rows).current
        if line == self.at:
            return  # the sheet was read again: what is being typed stays
        self.at = line
        field = self.query_one("#counted", Input)
        field.value = self.counted.get(line, "") if line is not None else ""
        field.cursor_position = len(field.value)

    @on(Rows.Chosen)
    def _to_field(self) -> None:
        self.query_one("#counted", Input).focus()

    @on(Input.Submitted, "#counted")
    def _next(self) -> None:
        if self._keep():
            self.query_one(Rows).action_move(1)

    def _keep(self) -> bool:
        """Keep the figure in the field for the line under the cursor."""
        line = self.query_one(Rows).current
        text = self.query_one("#counted", Input).value.strip()
        wrong = self.query_one("#count-wrong", Static)
        wrong.update("")
        if line is None:
            return False
        if not text:
            self.counted.pop(line, None)
        else:
            trouble = _trouble(line, text)
            if trouble:
                wrong.update(safe_text(f"✗ {line.item}: {trouble}"))
                return False
            self.counted[line] = text
        self.query_one(Rows).refresh()
        self._said()
        return True

    def action_line(self, by: int) -> None:
        """Another line; the figure typed is kept."""
        if self._keep():
            self.query_one(Rows).action_move(by)

    def action_kind(self) -> None:
        """All, or one kind of item."""
        if self._keep():
            self.kind = KINDS[(KINDS.index(self.kind) + 1) % len(KINDS)]
            self.look_again()

    def action_done(self) -> None:
        """Post what was counted as one entry."""
        if not self._keep():
            return
        if not self.counted:
            self.say("Nothing was counted yet.")
            return
        day, figures = self.day, dict(self.counted)

        def act(book: Book, answers: Any) -> Counted:
            from stock.shop.counting import CountRow, count
            from stock.shop.station import who

            rows = [
                CountRow(
                    *(line.place, line.item, line.amount(text)),
                    lot=line.lot,
                    container=line.container,
                    owner=line.owner,
                )
                for line, text in figures.items()
            ]
            return count(book, rows, answers["reason"], on=day, who=who())

        form = Form(
            f"Post {counted(len(figures), 'counted line')} as one entry",
            (Field("reason", "Reason", "month end", check=needed),),
            act,
            note="Differences go to or come from CORRECTION; the entry can be taken back.",
        )
        self.ask(form, self._posted)

    def _posted(self, done: Counted) -> None:
        from stock.screens.dialogs import Words

        self.counted, self.at = {}, None
        self.query_one("#counted", Input).value = ""
        self.booked(done.entry, str(done))
        lines = [str(difference) for difference in done.differences]
        self.app.push_screen(Words(str(done), "\n".join(lines) or "Everything agrees."))

    def action_back(self) -> None:
        """Leave; figures not posted are asked about."""
        unread = not self._keep() and bool(self.query_one("#counted", Input).value.strip())
        figures = len(self.counted) + unread
        if not figures:
            self.app.pop_screen()
            return

        def answered(answer: str | None) -> None:
            if answer == "y":
                self.app.pop_screen()

        self.app.push_screen(
            Question(
                f"{counted(figures, 'figure')} not posted yet (Ctrl+S posts).",
                (("y", "leave and forget them"),),
            ),
            answered,
        )


def _trouble(line: SheetLine, text: str) -> str | None:
    """What is wrong with a figure, in words of a person who counts."""
    try:
        held = line.amount(text)
    except ValueError as error:
        said = str(error)
        pieces = line.unit == "each" and "pack" not in said
        return f"{text!r} is not a number of pieces." if pieces else f"{said}."
    return "nobody counts less than nothing." if held < 0 else None
