"""Receive: a scanner types codes, or a person types an item; what was booked stands below.

A code that says everything is booked at its Enter. One that leaves lot or date open waits for the
label's second code or the fields. Codes that come faster than the book answers wait in line, none
of them is lost. An unknown GTIN is tied to an item once.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any, ClassVar

from textual import events, on
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.suggester import SuggestFromList
from textual.widget import Widget
from textual.widgets import Input, Label, Static

from stock.exchange.safe_text import safe_text
from stock.screens.base import ShopScreen
from stock.screens.dialogs import day_by, whole_number
from stock.screens.receive_codes import (
    Meaning,
    NextBox,
    NotTied,
    Ready,
    like_a_code,
    meaning_of,
)
from stock.screens.tying import TieForm
from stock.screens.widgets.code_field import CodeInput
from stock.screens.widgets.rows import Column, Rows

if TYPE_CHECKING:
    from stock.shop import Book
    from stock.shop.receive import Delivery, Received
    from stock.shop.views.entries import EntryRow

FIELDS = ("packs", "lot", "expires", "purchase")


class ReceiveScreen(ShopScreen):
    """Deliveries by scan or by hand."""

    MODE = "receive"
    UNDO_KEY = "Ctrl+Z"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+s", "book", "Book it"),
        Binding("ctrl+o", "purchases", "Purchases", tooltip="Open purchase orders: receive them"),
        Binding("ctrl+z", "undo", "Undo", tooltip="Take back the last delivery booked here"),
        Binding("escape", "clear", "Clear/list", tooltip="Empty the form; then to the list below"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._skus: list[str] = []
        self._known: set[str] = set()
        self._line: deque[str] = deque()
        self._box: tuple[str, ...] = ()
        self._waits = ""
        self._behind: list[str] = []
        self._filled: dict[str, str] = {}
        self._missed: dict[str, str] = {}
        self._same: tuple[tuple[str, str, int], ...] = ()
        self._times = 0
        self._busy = False

    def body(self) -> Iterable[Widget]:
        """The form above, the bookings below."""
        with Vertical(id="receive-form"):
            with Horizontal(classes="labelled"):
                yield Label("Scan/item")
                yield CodeInput(
                    self._code_typed,
                    "scan a box, or type an item code (→ completes it); Enter",
                    id="code",
                    compact=True,
                )
            with Horizontal(classes="labelled"):
                yield Label("Packs")
                yield Input("1", id="packs", classes="half", compact=True)
                yield Label("Lot")
                yield Input(placeholder="on the label", id="lot", classes="half", compact=True)
            with Horizontal(classes="labelled"):
                yield Label("Use by")
                yield Input(
                    placeholder="2027-05-01, 5/2027 …", id="expires", classes="half", compact=True
                )
                yield Label("Purchase")
                yield Input(
                    placeholder="order it belongs to", id="purchase", classes="half", compact=True
                )
            yield Static("", id="wrong", classes="caution", markup=False)
        yield Static("Booked last", id="head", markup=False)
        yield Rows(
            (
                Column("entry", 6, right=True),
                Column("day", 10),
                Column("what", 30, flex=1),
                Column("", 10),
            ),
            _cells,
            empty="Nothing was received yet.",
            id="booked",
        )

    def on_mount(self) -> None:
        """The cursor where the scanner types."""
        self.query_one("#code", Input).focus()
        super().on_mount()

    def on_screen_resume(self) -> None:
        """Whoever comes here wants to scan."""
        if not self.covered:
            self.query_one("#code", Input).focus()
        super().on_screen_resume()

    def look_again(self) -> None:
        """The last deliveries, and codes for completion."""
        if self.pointed:
            self._field("purchase").value, self.pointed = self.pointed, ""
        self.look(_bookings, self._show, group="bookings")

    def _show(self, found: tuple[list[EntryRow], list[str], list[str]]) -> None:
        rows, skus, purchases = found
        if skus != self._skus:
            self._skus, self._known = skus, {sku.upper() for sku in skus}
            self._field("code").suggester = SuggestFromList(skus, case_sensitive=False)
        self._field("purchase").suggester = SuggestFromList(purchases, case_sensitive=False)
        table = self.query_one(Rows)
        if not table.has_focus:
            table.cursor = 0  # whoever goes there wants the newest
        table.show(rows, key=(lambda row: row.entry) if table.has_focus else None)
        orders = "order is" if len(purchases) == 1 else "orders are"
        self.head(f"Booked last; {len(purchases)} purchase {orders} open (Ctrl+O)")

    def _field(self, name: str) -> Input:
        return self.query_one(f"#{name}", Input)

    # One code after another -------------------------------------------------------------------

    def _code_typed(self, text: str) -> bool:
        """Put a code in line; an item's own code stays in its field and leads to the others."""
        if not text:
            return True
        idle = not self._busy and not self._line
        if idle and text.upper() in self._known:
            self._box = ()
            self._field("packs").focus()
            return False
        self._line.append(text)
        self.call_next(self._next_code)
        return True

    def _next_code(self) -> None:
        """Take the next code in line, unless one is being worked on."""
        if self._busy or not self._line:
            return
        texts = (*self._box, self._line.popleft())
        trouble = self._trouble()
        if trouble:
            self._refused(trouble, texts)
            return
        packs, lot, until = (self._typed(name) for name in ("packs", "lot", "expires"))
        expires = self._date(until) if until else None
        day, count = self.day, int(packs) if packs else None
        self._busy = True
        self._wrong("")
        self.run_in_line(
            lambda book: meaning_of(book, texts, day, packs=count, lot=lot, expires=expires),
            self._understood,
            texts,
        )

    def _typed(self, name: str) -> str:
        """What a person typed beside the code; empty where the code itself or nobody said it."""
        value = self._field(name).value.strip()
        return "" if value == self._filled.get(name, "1" if name == "packs" else "") else value

    def run_in_line(self, work: Any, then: Any, texts: tuple[str, ...]) -> None:
        """Work with the book; what it refuses frees the line for the next code."""
        from stock.screens.work import in_thread

        in_thread(self, work, then, lambda said: self._refused(said, texts), group="post")

    def _refused(self, said: str, texts: tuple[str, ...]) -> None:
        self._busy = False
        last = texts[-1]
        near = [sku for sku in self._skus if last.upper() in sku.upper()][:3]
        if near and last.isprintable() and len(last) < 20:
            said = f"There is no item {last!r}. Items that look like it: {', '.join(near)}."
        if like_a_code(last):
            self._missed[last] = said
        self._wrong(said)
        self.say("✗ Nothing was booked for the last code.")
        field = self._field("code")
        if not field.value and not self._line:
            field.value = last
            field.select_all()  # the next scan takes its place; an arrow key begins to mend it
        self.call_after_refresh(self._next_code)

    def _understood(self, meaning: Meaning) -> None:
        if isinstance(meaning, NotTied):
            self._ask_tie(meaning)
        elif isinstance(meaning, Ready):
            self._box = ()
            self._receive(meaning.delivery, meaning.text)
        elif isinstance(meaning, NextBox):
            self._busy = False
            self._behind.append(meaning.text)
            self._say_waiting()
            self._next_code()
        else:
            self._busy = False
            self._box, self._waits = meaning.texts, meaning.sku
            self._fill(meaning.delivery)
            self._say_waiting(again=meaning.again)
            self._next_code()

    def _say_waiting(self, *, again: bool = False) -> None:
        """Which box is waited for, and for what; how many wait behind it."""
        twice = "The same code again (more than one box: say so at Packs). " if again else ""
        behind = f" Scanned behind it: {len(self._behind)}." if self._behind else ""
        self.say(
            f"{twice}{self._waits}: scan the label's second code, or type lot and date; Ctrl+S "
            f"books it, Escape drops it.{behind}"
        )

    def _fill(self, delivery: Delivery) -> None:
        said = {
            "packs": str(delivery.packs or 1),
            "lot": delivery.lot,
            "expires": delivery.expires.isoformat() if delivery.expires else "",
        }
        for name, value in said.items():
            if value and not self._typed(name):
                self._field(name).value = self._filled[name] = value

    def _ask_tie(self, unknown: NotTied) -> None:
        form = TieForm(unknown.gtin, self._skus)

        def answered(pack: str | None) -> None:
            self._busy = False
            self._line.extend(form.caught)
            if pack is None:
                self._refused(
                    f"Barcode {unknown.gtin} is tied to no item; nothing was booked.",
                    unknown.texts,
                )
                return
            self._box = unknown.texts[:-1]
            self._line.appendleft(unknown.texts[-1])
            self._field("code").value = ""
            self._next_code()

        self.app.push_screen(form, answered)

    # The form -----------------------------------------------------------------------------------

    @on(Input.Submitted, "#packs, #lot, #expires, #purchase")
    def _next_field(self, event: Input.Submitted) -> None:
        place = FIELDS.index(event.input.id or "packs")
        if place + 1 < len(FIELDS):
            self._field(FIELDS[place + 1]).focus()
        else:
            self.action_book()

    @on(Input.Changed, "#packs, #expires")
    def _look_over(self) -> None:
        self._wrong(self._trouble() or self._reading())

    def _trouble(self) -> str:
        """What is wrong with the figures beside the code."""
        packs = whole_number(1)(self._field("packs").value.strip())
        until = day_by(self.day, month=True)(self._field("expires").value.strip())
        said = [f"Packs: {packs}" if packs else "", f"Use by: {until}" if until else ""]
        return " ".join(filter(None, said))

    def _reading(self) -> str:
        """How a date is read that was not typed as it is kept, or that is past."""
        text = self._field("expires").value.strip()
        if not text:
            return ""
        day = self._date(text)
        past = " That is past." if day < self.day else ""
        return f"Use by {day}.{past}" if past or text != day.isoformat() else ""

    def _date(self, text: str) -> date:
        from stock.exchange.written_dates import read_use_by

        return read_use_by(text, on=self.day)

    def action_book(self) -> None:
        """Book what stands in the form: an item typed, or a box that waited for lot and date."""
        text = self._field("code").value.strip()
        trouble = self._trouble()
        if self._busy or trouble:
            self._wrong(trouble)
            return
        if text.upper() not in self._known and (text or self._box):
            if text:
                self._field("code").value = ""
                self._line.append(text)
                self._next_code()
            else:
                self._book_box()
            return
        if not text:
            self._wrong("Scan a box or type an item first.")
            return
        from stock.shop.receive import Delivery

        sku = next(known for known in self._skus if known.upper() == text.upper())
        self._busy = True
        self._receive(self._with_fields(Delivery(on=self.day, sku=sku)), sku)

    def _with_fields(self, delivery: Delivery) -> Delivery:
        until = self._field("expires").value.strip()
        return replace(
            delivery,
            packs=int(self._field("packs").value),
            lot=self._field("lot").value.strip(),
            expires=self._date(until) if until else None,
        )

    def _book_box(self) -> None:
        """Book the waiting box with the lot and date typed, even if one of them is missing."""
        texts, day = self._box, self.day

        def read(book: Book) -> Meaning:
            return meaning_of(book, texts, day, packs=None, lot="", expires=None)

        def understood(meaning: Meaning) -> None:
            if isinstance(meaning, NotTied):
                self._ask_tie(meaning)
            elif not isinstance(meaning, NextBox):
                self._receive(self._with_fields(meaning.delivery), texts[-1])

        self._busy = True
        self.run_in_line(read, understood, texts)

    def _receive(self, delivery: Delivery, shown: str) -> None:
        from stock.shop.receive import receive
        from stock.shop.station import who

        whole = replace(delivery, purchase=self._field("purchase").value.strip())
        self.say("Booking …")
        self.run_in_line(
            lambda book: receive(book, whole, who=who()),
            lambda received: self._received(received, shown),
            (shown,),
        )

    def _received(self, received: Received, text: str) -> None:
        self._busy, self._box = False, ()
        self._missed.pop(text, None)
        lots = "; ".join(str(lot) for lot in received.lots)
        notes = [*received.notes, *self._in_a_row(received)]
        self.booked(received.entry, " ".join([f"Entry {received.entry}: {lots}.", *notes]))
        self._empty(("packs", "lot", "expires"))
        field = self._field("code")
        if field.value.strip().upper() in self._known:
            field.value = ""
        field.focus()
        self._follow()

    def _in_a_row(self, received: Received) -> list[str]:
        """A box scanned twice looks like two boxes: say how many of it were booked in a row."""
        same = tuple((lot.item, lot.lot, lot.packs) for lot in received.lots)
        self._times = self._times + 1 if same == self._same else 1
        self._same = same
        return [f"The same again: {self._times} times in a row."] if self._times > 1 else []

    def _follow(self) -> None:
        """Take the codes that came while a box waited."""
        self._line.extendleft(reversed(self._behind))
        self._behind = []
        self._next_code()

    def _empty(self, names: Iterable[str]) -> None:
        self._filled = {}
        for name in names:
            self._field(name).value = "1" if name == "packs" else ""
        self._wrong("")

    def action_clear(self) -> None:
        """Empty the form; when it is empty already, leave it for the list of bookings."""
        typed = any(self._field(name).value for name in ("code", "lot", "expires", "purchase"))
        if not self._box and not typed and not self._missed:
            self.query_one(Rows).focus()
            return
        dropped = f"{self._waits} was dropped; nothing was booked of it." if self._box else ""
        self._box, self._missed = (), {}
        self._empty(("code", *FIELDS))
        self.say(dropped)
        self._field("code").focus()
        self._follow()

    def action_purchases(self) -> None:
        """Open purchase orders."""
        from stock.screens.purchases import PurchasesScreen

        self.app.push_screen(PurchasesScreen())

    def action_undo(self) -> None:
        """Take back the booking under the cursor, or the last one."""
        rows = self.query_one(Rows)
        if rows.has_focus and rows.current is not None:
            self.take_back(rows.current.entry)
        else:
            super().action_undo()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """In the list below every row can be taken back."""
        if action == "undo" and self.is_attached and self.query_one(Rows).has_focus:
            return True
        return super().check_action(action, parameters)

    @on(events.DescendantFocus)
    def _keys_change(self) -> None:
        self.refresh_bindings()

    def _wrong(self, text: str) -> None:
        """Say what is wrong; codes that were not booked stay named until Escape."""
        if self._missed and (not text or len(self._missed) > 1):
            *_, (last, said) = self._missed.items()
            before = ", ".join([*self._missed][:-1])
            text = f"Not booked: {said if last in said else f'{last}: {said}'}".rstrip(".") + "."
            text += (f" Nor: {before}." if before else "") + " Escape: seen."
        self.query_one("#wrong", Static).update(safe_text(" ".join(text.split())))


def _cells(row: EntryRow) -> tuple[str, ...]:
    what = row.what or row.note
    return str(row.entry), row.day.isoformat(), what, "taken back" if row.undone else ""


def _bookings(book: Book) -> tuple[list[EntryRow], list[str], list[str]]:
    from stock.shop.purchases import list_purchases
    from stock.shop.views.entries import last_entries
    from stock.shop.views.stockroom import item_codes

    purchases = [one.ref for one in list_purchases(book)]
    return last_entries(book, kinds=("receive",)), item_codes(book), purchases
