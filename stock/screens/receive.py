"""Receive: a scanner types codes, or a person types an item; what was booked stands below.

A code that says everything is booked at its Enter. One that leaves lot or date open waits in the
form below it. An unknown GTIN is tied to an item once.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import TYPE_CHECKING, Any, ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.widget import Widget
from textual.widgets import DataTable, Input, Label, Static

from stock.errors import BarcodeUnreadable
from stock.exchange.safe_text import safe_text
from stock.screens.base import ShopScreen
from stock.screens.dialogs import Field, Form

if TYPE_CHECKING:
    from stock.exchange.barcodes import ScannedCode
    from stock.shop import Book
    from stock.shop.views.entries import EntryRow


class ReceiveScreen(ShopScreen):
    """Deliveries by scan or by hand."""

    MODE = "receive"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "clear", "Clear, then leave", tooltip="From the list below numbers jump"),
        Binding("ctrl+s", "book", "Book it"),
        Binding("ctrl+l", "labels", "List", show=False, tooltip="Go to the list of bookings"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._scans: list[ScannedCode] = []
        self._skus: list[str] = []
        self._gtin = ""

    def body(self) -> Iterable[Widget]:
        """The form above, the bookings below."""
        with Vertical(id="receive-form"):
            with Horizontal(classes="labelled"):
                yield Label("Scan/item")
                yield Input(
                    placeholder="scan a box, or type an item code; Enter", id="code", compact=True
                )
            with Horizontal(classes="labelled"):
                yield Label("Packs")
                yield Input("1", id="packs", classes="half", compact=True)
                yield Label("Lot")
                yield Input(placeholder="on the label", id="lot", classes="half", compact=True)
            with Horizontal(classes="labelled"):
                yield Label("Use by")
                yield Input(placeholder="2027-05-01", id="expires", classes="half", compact=True)
                yield Label("Purchase")
                yield Input(
                    placeholder="order it belongs to", id="purchase", classes="half", compact=True
                )
            yield Static("", id="wrong", classes="note", markup=False)
        yield Static("Booked last", classes="head")
        table: DataTable[str] = DataTable(id="booked", cursor_type="row", zebra_stripes=True)
        yield table

    def on_mount(self) -> None:
        """Columns, and the cursor where the scanner types."""
        self.query_one("#booked", DataTable).add_columns("entry", "day", "what", "")
        self.query_one("#code", Input).focus()
        super().on_mount()

    def on_screen_resume(self) -> None:
        """Whoever comes here wants to scan."""
        if not self.covered:
            self.query_one("#code", Input).focus()
        super().on_screen_resume()

    def look_again(self) -> None:
        """The last deliveries, and the item codes for completion."""
        self.look(_bookings, self._show, group="bookings")

    def _show(self, found: tuple[list[EntryRow], list[str]]) -> None:
        rows, self._skus = found
        from textual.suggester import SuggestFromList

        self.query_one("#code", Input).suggester = SuggestFromList(self._skus, case_sensitive=False)
        table = self.query_one("#booked", DataTable)
        table.clear()
        for row in rows:
            table.add_row(
                str(row.entry),
                row.day.isoformat(),
                safe_text(row.what or row.note),
                "taken back" if row.undone else "",
                key=str(row.entry),
            )

    @on(Input.Submitted, "#code")
    def _code_typed(self, event: Input.Submitted) -> None:
        text = event.value.strip()
        self._wrong("")
        if not text:
            return
        if text.upper() in {sku.upper() for sku in self._skus}:
            self._gtin = ""
            self.query_one("#packs", Input).focus()
            return
        from stock.shop.scanning import read_code

        try:
            code = read_code(text, self.shop_app.business_day())
        except BarcodeUnreadable as error:
            near = [sku for sku in self._skus if text.upper() in sku.upper()][:3]
            hint = f" Items that look like it: {', '.join(near)}." if near else ""
            self._wrong(f"{error}{hint}" if not near else f"No item {text!r}.{hint}")
            return
        self._scanned(code)

    def _scanned(self, code: ScannedCode) -> None:
        if code.suspect:
            self._wrong(" ".join(code.warnings) + " Nothing was booked: scan again or type it.")
            return
        field = self.query_one("#code", Input)
        if code.gtin is None and self._gtin:
            gtin, self._gtin = self._gtin, ""
            self._fill(code)
            self._book_gtin(gtin, code)
            return
        if code.gtin is None:
            self._wrong("This code names no item: scan the one with the GTIN first.")
            field.value = ""
            return
        self._fill(code)
        gtin = code.gtin
        self.look(
            lambda book: _known_pack(book, gtin),
            lambda known: self._pack_found(code, known),
            group="pack",
        )

    def _fill(self, code: ScannedCode) -> None:
        if code.lot:
            self.query_one("#lot", Input).value = code.lot
        if code.use_by:
            self.query_one("#expires", Input).value = code.use_by.isoformat()
        if code.count:
            self.query_one("#packs", Input).value = str(code.count)

    def _pack_found(self, code: ScannedCode, known: tuple[str, bool] | None) -> None:
        gtin = code.gtin or ""
        if known is None:
            self._ask_tie(code)
            return
        sku, keeps_dates = known
        if keeps_dates and (not code.lot or code.use_by is None):
            self._gtin = gtin
            field = self.query_one("#code", Input)
            field.value = ""
            self.say(f"{sku}: scan the label's second code, or type lot and date; Ctrl+S books it.")
            return
        self._book_gtin(gtin, code)

    def _ask_tie(self, code: ScannedCode) -> None:
        def answered(answer: dict[str, str] | None) -> None:
            if not answer or not answer["item"]:
                self._wrong(f"Barcode {code.gtin} is tied to no item; nothing was booked.")
                return
            from stock.shop.scanning import tie_barcode

            self.post(
                lambda book: tie_barcode(book, code.gtin or "", answer["item"], answer["pack"]),
                lambda _pack: self._scanned(code),
            )

        self.app.push_screen(
            Form(
                f"Barcode {code.gtin} is new. Which item is it? (asked once)",
                (
                    Field("item", "Item", choices=self._skus, hint="item code"),
                    Field("pack", "Pack", hint="supplier's pack code, if there are several"),
                ),
            ),
            answered,
        )

    @on(Input.Submitted, "#packs, #lot, #expires, #purchase")
    def _next_field(self, event: Input.Submitted) -> None:
        order = ["packs", "lot", "expires", "purchase"]
        place = order.index(event.input.id or "packs")
        if place + 1 < len(order):
            self.query_one(f"#{order[place + 1]}", Input).focus()
        else:
            self.action_book()

    @on(Input.Changed, "#packs, #expires")
    def _look_over(self) -> None:
        self._wrong(self._trouble() or "")

    def _trouble(self) -> str | None:
        packs = self.query_one("#packs", Input).value.strip()
        if not packs.isdigit() or int(packs) < 1:
            return f"Packs: {packs or 'nothing'!r} is not a whole number from 1."
        until = self.query_one("#expires", Input).value.strip()
        if until:
            try:
                self._date(until)
            except ValueError as error:
                return f"Use by: {error}"
        return None

    def _date(self, text: str) -> date:
        from stock.exchange.written_dates import read_date

        return read_date(text, on=self.shop_app.business_day())

    def action_book(self) -> None:
        """Book what stands in the form."""
        sku = self.query_one("#code", Input).value.strip()
        if not sku and not self._gtin:
            self._wrong("Scan a box or type an item first.")
            return
        matching = [known for known in self._skus if known.upper() == sku.upper()]
        self._book(gtin=self._gtin if not sku else "", sku=matching[0] if matching else sku)

    def _book_gtin(self, gtin: str, code: ScannedCode) -> None:
        self._book(gtin=gtin, sku="", produced=code.produced)

    def _book(self, *, gtin: str, sku: str, produced: date | None = None) -> None:
        trouble = self._trouble()
        if trouble:
            self._wrong(trouble)
            return
        from stock.shop.receive import Delivery, receive
        from stock.shop.station import who

        until = self.query_one("#expires", Input).value.strip()
        delivery = Delivery(
            on=self.shop_app.business_day(),
            sku=sku,
            gtin=gtin,
            packs=int(self.query_one("#packs", Input).value),
            lot=self.query_one("#lot", Input).value.strip(),
            expires=self._date(until) if until else None,
            produced=produced,
            purchase=self.query_one("#purchase", Input).value.strip(),
        )

        def done(received: Any) -> None:
            self._gtin = ""
            lots = "; ".join(str(lot) for lot in received.lots)
            notes = (" " + " ".join(received.notes)) if received.notes else ""
            self.booked(received.entry, f"Entry {received.entry}: {lots}.{notes}")
            for name, value in (("code", ""), ("packs", "1"), ("lot", ""), ("expires", "")):
                self.query_one(f"#{name}", Input).value = value
            self.query_one("#code", Input).focus()

        self.post(lambda book: receive(book, delivery, who=who()), done)

    def action_clear(self) -> None:
        """Empty the form; when it is empty already, leave it for the list of bookings."""
        names = ("code", "lot", "expires", "purchase")
        if not self._gtin and not any(self.query_one(f"#{n}", Input).value for n in names):
            self.query_one("#booked", DataTable).focus()
            return
        self._gtin = ""
        for name, value in (
            ("code", ""),
            ("packs", "1"),
            ("lot", ""),
            ("expires", ""),
            ("purchase", ""),
        ):
            self.query_one(f"#{name}", Input).value = value
        self._wrong("")
        self.query_one("#code", Input).focus()

    def action_labels(self) -> None:
        """To the list of bookings."""
        self.query_one("#booked", DataTable).focus()

    def action_undo(self) -> None:
        """Take back the booking under the cursor, or the last one."""
        table = self.query_one("#booked", DataTable)
        if table.has_focus and table.row_count:
            row = table.coordinate_to_cell_key(table.cursor_coordinate).row_key.value
            self.last_entry = int(row) if row else None
        super().action_undo()

    def _wrong(self, text: str) -> None:
        self.query_one("#wrong", Static).update(safe_text(text))


def _bookings(book: Book) -> tuple[list[EntryRow], list[str]]:
    from stock.shop.views.entries import last_entries
    from stock.shop.views.stockroom import item_codes

    return last_entries(book, kinds=("receive",)), item_codes(book)


def _known_pack(book: Book, gtin: str) -> tuple[str, bool] | None:
    from stock.shop.views.stockroom import item_of_gtin

    return item_of_gtin(book, gtin)
