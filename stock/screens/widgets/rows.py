"""A table of rows that may be many: only what is on the screen is formatted, the rest is read
in pages when it is scrolled to.

Columns say how wide they must be, which of them may go when the window is narrow, and which take
what is left over; a cell that does not fit ends in ``…``. The row under the cursor is reversed and
marked ``›``, so that it is seen without colour. Nothing here knows a book: pages are asked for by
message.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from textwrap import wrap
from typing import Any, ClassVar

from rich.cells import cell_len, set_cell_size
from rich.segment import Segment
from textual import events
from textual.binding import Binding, BindingType
from textual.geometry import Region, Size
from textual.message import Message
from textual.scroll_view import ScrollView
from textual.strip import Strip

from stock.exchange.safe_text import safe_text

PAGE = 200
"""Rows asked for at once: several screens full."""

MARK = "›"


@dataclass(frozen=True, slots=True)
class Column:
    """One column.

    Args:
        title: What stands above it.
        width: Cells it has at least.
        flex: Its share of what is left over; 0: none.
        right: Numbers stand to the right.
        goes: When cells are short the column with the highest number goes first; 0 stays.
    """

    title: str
    width: int
    flex: int = 0
    right: bool = False
    goes: int = 0


class Rows(ScrollView, can_focus=True):
    """Rows under a head; arrows move, Enter chooses.

    Args:
        columns: Of every row.
        cells: A row's cells, as many as columns, formatted only when shown.
        empty: What to do when there are none; said once it is known that there are none.
    """

    COMPONENT_CLASSES: ClassVar[set[str]] = {"rows--head", "rows--cursor", "rows--odd"}
    DEFAULT_CSS = """
    Rows { height: 1fr; background: $surface; overflow-x: hidden; scrollbar-size-vertical: 1; }
    Rows .rows--head { background: $panel; color: $foreground; text-style: bold; }
    Rows .rows--odd { background: $panel 40%; }
    Rows .rows--cursor { text-style: reverse; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "choose", "Open", show=False),
        Binding("up", "move(-1)", "Up", show=False),
        Binding("down", "move(1)", "Down", show=False),
        Binding("pageup", "leap(-1)", "Page up", show=False),
        Binding("pagedown", "leap(1)", "Page down", show=False),
        Binding("home", "edge(0)", "First", show=False),
        Binding("end", "edge(1)", "Last", show=False),
    ]

    @dataclass
    class Moved(Message):
        """The cursor is on another row, or the row under it is another one."""

        rows: Rows
        row: Any

        @property
        def control(self) -> Rows:
            """The table."""
            return self.rows

    @dataclass
    class Chosen(Message):
        """Enter (or a second click) on a row."""

        rows: Rows
        row: Any

        @property
        def control(self) -> Rows:
            """The table."""
            return self.rows

    @dataclass
    class PageWanted(Message):
        """Rows from ``first`` on are on the screen but not here yet."""

        rows: Rows
        first: int

        @property
        def control(self) -> Rows:
            """The table."""
            return self.rows

    def __init__(
        self,
        columns: Sequence[Column],
        cells: Callable[[Any], Sequence[str]],
        *,
        empty: str = "",
        id: str | None = None,
    ) -> None:
        super().__init__(id=id)
        self.columns = tuple(columns)
        self.cells = cells
        self.empty = empty
        self.known = False
        self.count = 0
        self.cursor = 0
        self._pages: dict[int, Sequence[Any]] = {}
        self._asked: set[int] = set()
        self._widths: list[int] = []
        self._laid_for = -1

    @property
    def current(self) -> Any:
        """The row under the cursor; None when there is none or it is still being read."""
        return self.row(self.cursor) if self.count else None

    def row(self, number: int) -> Any:
        """Row ``number`` from 0; None while it is being read."""
        page = self._pages.get(number // PAGE)
        place = number % PAGE
        return page[place] if page is not None and place < len(page) else None

    def show(self, rows: Sequence[Any], *, key: Callable[[Any], Any] | None = None) -> None:
        """Show these rows, all of them here; the cursor stays on its row where ``key`` finds it."""
        was = self.current
        self._pages = {
            start // PAGE: rows[start : start + PAGE] for start in range(0, len(rows), PAGE)
        }
        self._begin(len(rows))
        if key is not None and was is not None:
            wanted = key(was)
            found = next((n for n, row in enumerate(rows) if key(row) == wanted), None)
            if found is not None:
                self.cursor = found
        self._settle()

    def show_page(self, count: int, first: int, rows: Sequence[Any], *, fresh: bool) -> None:
        """A page of ``count`` rows in all; ``fresh``: what was here before is out of date."""
        if fresh:
            self._pages = {}
            self._begin(count)
        self._pages[first // PAGE] = rows
        self._asked.discard(first // PAGE)
        self._settle()

    def _begin(self, count: int) -> None:
        self.count, self.known = count, True
        self._asked = set()
        self.cursor = max(0, min(self.cursor, count - 1))

    def _settle(self) -> None:
        self._lay_out()
        self.virtual_size = Size(self.size.width, self.count + 1)
        self._keep_in_sight()
        self.refresh()
        self.post_message(self.Moved(self, self.current))

    def on_resize(self) -> None:
        """Columns get their widths anew."""
        self._lay_out()
        self.virtual_size = Size(self.size.width, self.count + 1)
        self._keep_in_sight()
        self.refresh()

    def _lay_out(self) -> None:
        """Widths of the columns in this window; 0 for those that went."""
        self._laid_for = self.size.width
        room = self._laid_for - 1
        kept = list(self.columns)
        while sum(c.width + 1 for c in kept) > room and any(c.goes for c in kept):
            kept.remove(max(kept, key=lambda c: c.goes))
        spare = max(room - sum(c.width + 1 for c in kept), 0)
        shares = sum(c.flex for c in kept)
        self._widths = []
        for column in self.columns:
            if column not in kept:
                self._widths.append(0)
                continue
            extra = spare * column.flex // shares if shares else 0
            self._widths.append(column.width + extra)

    def _line(self, mark: str, cells: Sequence[str], width: int) -> str:
        if self._laid_for != self.size.width:
            self._lay_out()
        parts = [mark]
        for cell, column, wide in zip(cells, self.columns, self._widths, strict=True):
            if not wide:
                continue
            text = safe_text(cell)
            long = cell_len(text)
            if long > wide:
                text = set_cell_size(text, wide - 1) + "…"
            elif column.right:
                text = " " * (wide - long) + text
            else:
                text = text + " " * (wide - long)
            parts.append(text + " ")
        return set_cell_size("".join(parts), width)

    def render_line(self, y: int) -> Strip:
        """One line of the widget: the head, a row, or nothing."""
        width = self.size.width
        if y == 0:
            titles = [column.title for column in self.columns]
            style = self.get_component_rich_style("rows--head")
            return Strip([Segment(self._line(" ", titles, width), style)], width)
        number = y - 1 + round(self.scroll_offset.y)
        plain = self.rich_style
        if number >= self.count:
            said = self._said(y - 2) if self.known and self.count == 0 else ""
            return Strip([Segment(set_cell_size(said, width), plain)], width)
        here = number == self.cursor
        if here and self.has_focus:
            style = plain + self.get_component_rich_style("rows--cursor", partial=True)
        elif number % 2:
            style = self.get_component_rich_style("rows--odd")
        else:
            style = plain
        row = self.row(number)
        if row is None:
            self._ask(number)
            return Strip([Segment(set_cell_size(" …", width), style)], width)
        return Strip([Segment(self._line(MARK if here else " ", self.cells(row), width), style)])

    def _said(self, line: int) -> str:
        """A line of what to do when there are no rows."""
        lines = wrap(self.empty, max(self.size.width - 2, 1))
        return f" {lines[line]}" if 0 <= line < len(lines) else ""

    def _ask(self, number: int) -> None:
        page = number // PAGE
        if page not in self._asked:
            self._asked.add(page)
            self.post_message(self.PageWanted(self, page * PAGE))

    def _keep_in_sight(self) -> None:
        if self.size.height > 1:
            self.scroll_to_region(
                Region(0, self.cursor, 1, 2), animate=False, force=True, immediate=True
            )

    def go_to(self, number: int) -> None:
        """Put the cursor on a row."""
        number = max(0, min(number, self.count - 1))
        if number == self.cursor or not self.count:
            return
        self.cursor = number
        self._keep_in_sight()
        self.refresh()
        self.post_message(self.Moved(self, self.current))

    def action_move(self, by: int) -> None:
        """One row on or back."""
        self.go_to(self.cursor + by)

    def action_leap(self, way: int) -> None:
        """A screen on or back."""
        self.go_to(self.cursor + way * max(self.size.height - 2, 1))

    def action_edge(self, last: int) -> None:
        """The first or the last row."""
        self.go_to(self.count - 1 if last else 0)

    def action_choose(self) -> None:
        """Choose the row under the cursor."""
        if self.current is not None:
            self.post_message(self.Chosen(self, self.current))

    def on_click(self, event: events.Click) -> None:
        """A click puts the cursor there; on the cursor it chooses."""
        number = event.y - 1 + round(self.scroll_offset.y)
        if event.y < 1 or number >= self.count:
            return
        if number == self.cursor:
            self.action_choose()
        else:
            self.go_to(number)
