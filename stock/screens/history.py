"""History: every entry of the book, newest first, read in pages; any of them can be taken back.

Of one item: its movements, from place to place.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any, ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import Static

from stock.exchange.safe_text import safe_text
from stock.screens.base import ShopScreen
from stock.screens.dialogs import Question, Words
from stock.screens.widgets.rows import PAGE, Column, Rows
from stock.screens.wording import counted, held

if TYPE_CHECKING:
    from stock.shop import Book
    from stock.shop.views.entries import EntryRow
    from stock.shop.views.pages import MovementRow, Page


MOVED_SHOWN = 200
"""Movements of an entry shown; only a large import has more."""


class HistoryScreen(ShopScreen):
    """Entries, or one item's movements.

    Args:
        kinds: Only entries of these kinds.
        sku: Movements of this item instead of entries; ``lot`` of this lot only.
        title: What a row is called.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "back", "Back"),
        Binding("z", "reverse", "Take back", tooltip="Post the opposite of the entry here"),
    ]

    def __init__(
        self, *, kinds: Sequence[str] = (), sku: str = "", lot: str = "", title: str = "entry"
    ) -> None:
        super().__init__()
        self.kinds, self.sku, self.lot, self.title_word = tuple(kinds), sku, lot, title

    def body(self) -> Iterable[Widget]:
        """One long list, the row under the cursor in full below."""
        yield Static("Reading …", id="head", markup=False)
        if self.sku:
            yield Rows(
                (
                    Column("entry", 6, right=True),
                    Column("day", 10),
                    Column("kind", 9),
                    Column("amount", 11, right=True),
                    Column("from", 9, flex=1),
                    Column("to", 10, flex=1),
                    Column("lot", 12, flex=1),
                    Column("who", 8, goes=1),
                    Column("note", 12, flex=2, goes=2),
                ),
                _movement_cells,
                empty="Nothing of it has moved yet.",
            )
        else:
            yield Rows(
                (
                    Column("entry", 6, right=True),
                    Column("day", 10),
                    Column("kind", 9),
                    Column("what moved", 20, flex=3),
                    Column("", 10),
                    Column("who", 8, goes=1),
                    Column("note", 12, flex=1, goes=2),
                ),
                _entry_cells,
                empty="No entries yet.",
            )
        yield Static("", id="history-detail", classes="note", markup=False)

    def on_mount(self) -> None:
        """To the list."""
        self.query_one(Rows).focus()
        super().on_mount()

    def look_again(self) -> None:
        """Read the page under the cursor anew; the others when they are scrolled to."""
        first = self.query_one(Rows).cursor // PAGE * PAGE
        self._read(first, fresh=True)

    @on(Rows.PageWanted)
    def _page(self, event: Rows.PageWanted) -> None:
        self._read(event.first, fresh=False)

    def _read(self, first: int, *, fresh: bool) -> None:
        def read(book: Book) -> Page[Any]:
            from stock.shop.views.pages import entries_page, movements_page

            if self.sku:
                return movements_page(book, first=first, most=PAGE, sku=self.sku, lot_code=self.lot)
            return entries_page(book, first=first, most=PAGE, kinds=self.kinds)

        def show(page: Page[Any]) -> None:
            self.query_one(Rows).show_page(page.count, page.first, page.rows, fresh=fresh)
            of = f" of {self.sku}" if self.sku else ""
            of += f" lot {self.lot}" if self.lot else ""
            rows = counted(page.count, "movement" if self.sku else self.title_word)
            keys = "Enter: all of one; z takes it back."
            self.head(f"{rows}{of}, newest first. {keys}")

        self.look(read, show, group=f"page {first}")

    @on(Rows.Moved)
    def _detail(self, event: Rows.Moved) -> None:
        row = event.row
        text = ""
        if row is not None:
            text = f"Entry {row.entry}, {row.kind} on {row.day}"
            text += f" by {row.who}" if row.who else ""
            text += f": {row.note}" if row.note else ""
            what = getattr(row, "what", "")
            text += f". {what}" if what else ""
        self.query_one("#history-detail", Static).update(safe_text(text))

    @on(Rows.Chosen)
    def _whole(self, event: Rows.Chosen) -> None:
        """All that the entry under the cursor moved."""
        row = event.row

        def read(book: Book) -> Page[MovementRow]:
            from stock.shop.views.pages import movements_page

            return movements_page(book, most=MOVED_SHOWN, entry_id=row.entry)

        def show(page: Page[MovementRow]) -> None:
            title = f"Entry {row.entry}: {row.kind} on {row.day}"
            title += f" by {row.who}" if row.who else ""
            self.app.push_screen(Words(title, _moved(page, row.note)))

        self.look(read, show, group="entry")

    def action_reverse(self) -> None:
        """Take the entry under the cursor back, after asking."""
        row = self.query_one(Rows).current
        if row is None:
            return

        def answered(answer: str | None) -> None:
            if answer == "y":
                self.take_back(row.entry)

        self.app.push_screen(
            Question(
                f"Take back entry {row.entry} ({row.kind} of {row.day})? "
                "The opposite is posted; both stay in the book.",
                (("y", "yes, take it back"),),
            ),
            answered,
        )

    def action_back(self) -> None:
        """To the screen before."""
        self.app.pop_screen()


def _entry_cells(row: EntryRow) -> tuple[str, ...]:
    return (
        *(str(row.entry), row.day.isoformat(), row.kind, row.what or row.note),
        *("taken back" if row.undone else "", row.who, row.note),
    )


def _movement_cells(row: MovementRow) -> tuple[str, ...]:
    return (
        *(str(row.entry), row.day.isoformat(), row.kind, held(row.amount, row.unit)),
        *(row.source, row.target, row.lot, row.who, row.note),
    )


def _moved(page: Page[MovementRow], note: str) -> str:
    """What an entry moved, a line each, in the order it was booked."""
    lines = [note] * bool(note)
    lines += [
        f"{row.item}  {held(row.amount, row.unit)}  lot {row.lot}: {row.source} → {row.target}"
        for row in reversed(page.rows)
    ]
    if not page.rows:
        lines.append("Nothing moved in it.")
    if page.count > len(page.rows):
        lines.append(f"Its last {len(page.rows):,} of {page.count:,} movements.")
    return "\n".join(lines)
