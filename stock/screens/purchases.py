"""Purchase orders: open ones or all, each with its lines; sent, received, moved, changed, written.

Nothing leaves this machine from here: sending notes that the order went out, the order sheet is a
file the person sends.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import TYPE_CHECKING, Any, ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import Static

from stock.screens.base import ShopScreen
from stock.screens.dialogs import Answers, Field, Form, Question, day_by, needed, whole_number
from stock.screens.files import file_to_write, typed_path
from stock.screens.widgets.rows import Column, Rows
from stock.screens.wording import amount, counted, money, plain_money

if TYPE_CHECKING:
    from stock.shop import Book
    from stock.shop.purchases import Purchase, PurchaseLine

SHEET = file_to_write((".pdf", ".csv", ".xlsx"))
"""An order sheet is one of these, in a folder that is there."""


class PurchasesScreen(ShopScreen):
    """Purchase orders, newest first."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "back", "Back"),
        Binding("t", "every", "Open/all", tooltip="Open ones only, or closed ones too"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.every = False

    def body(self) -> Iterable[Widget]:
        """One list."""
        yield Static("Reading …", id="head", markup=False)
        yield Rows(
            (
                Column("purchase", 12),
                Column("supplier", 9, flex=1),
                Column("state", 13),
                Column("made", 10, goes=1),
                Column("sent", 10),
                Column("promised", 10),
                Column("", 4),
                Column("lines", 5, right=True, goes=2),
                Column("cost", 11, right=True),
            ),
            self._cells,
            empty="No open purchase order. Reorder (6) makes drafts of the week's list.",
        )

    def on_mount(self) -> None:
        """To the list."""
        self.query_one(Rows).focus()
        super().on_mount()

    def look_again(self) -> None:
        """Read them."""
        every = self.every

        def read(book: Book) -> tuple[Purchase, ...]:
            from stock.shop.purchases import list_purchases

            return list_purchases(book, every=every)

        def show(found: tuple[Purchase, ...]) -> None:
            self.query_one(Rows).show(found, key=lambda one: one.ref)
            late = sum(self._late(one) for one in found)
            orders = counted(len(found), "purchase order" if every else "open purchase order")
            self.head(f"{orders}, {late} late. Enter: its lines, receive, send")

        self.look(read, show)

    def _late(self, one: Purchase) -> bool:
        waiting = one.state in ("sent", "part received")
        return waiting and one.promised_on is not None and one.promised_on < self.day

    def _cells(self, one: Purchase) -> tuple[str, ...]:
        return (
            *(one.ref, one.supplier, one.state, _day(one.created_on), _day(one.sent_on)),
            *(_day(one.promised_on), "late" if self._late(one) else "", str(len(one.lines))),
            plain_money(one.cost_minor),
        )

    @on(Rows.Chosen)
    def _open(self, event: Rows.Chosen) -> None:
        self.app.push_screen(PurchaseScreen(event.row.ref))

    def action_every(self) -> None:
        """Open ones only, or all."""
        self.every = not self.every
        self.look_again()

    def action_back(self) -> None:
        """To the screen before."""
        self.app.pop_screen()


class PurchaseScreen(ShopScreen):
    """One purchase order.

    Args:
        ref: Its reference.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "back", "Back"),
        Binding("r", "receive", "Receive", tooltip="The line here came"),
        Binding("w", "receive_all", "All came", tooltip="Every open line came, whole"),
        Binding("s", "send", "Sent", tooltip="Note that the draft went to the supplier"),
        Binding("p", "packs", "Packs", tooltip="Another number of packs on a draft"),
        Binding("m", "retime", "Move day", tooltip="The supplier names another day"),
        Binding("e", "write", "Sheet", tooltip="Write the order sheet: PDF, CSV or XLSX"),
        Binding("x", "cancel", "Cancel", tooltip="Cancel the line here, or the order"),
    ]

    def __init__(self, ref: str) -> None:
        super().__init__()
        self.ref = ref
        self.purchase: Purchase | None = None

    def body(self) -> Iterable[Widget]:
        """Lines; why the one under the cursor was ordered."""
        yield Static("Reading …", id="head", markup=False)
        yield Rows(
            (
                Column("item", 13, flex=1),
                Column("pack", 12, flex=1),
                Column("of", 9, right=True),
                Column("packs", 5, right=True),
                Column("came", 5, right=True),
                Column("off", 4, right=True),
                Column("open", 5, right=True),
                Column("price", 9, right=True),
                Column("promised", 10, goes=1),
            ),
            self._cells,
        )
        yield Static("", id="purchase-why", classes="note", markup=False)

    def on_mount(self) -> None:
        """To the lines."""
        self.query_one(Rows).focus()
        super().on_mount()

    def look_again(self) -> None:
        """Read it."""
        ref = self.ref

        def read(book: Book) -> Purchase:
            from stock.shop.purchases import show_purchase

            return show_purchase(book, ref)

        self.look(read, self._show)

    def _show(self, found: Purchase) -> None:
        self.purchase = found
        self.query_one(Rows).show(found.lines, key=lambda line: line.pack)
        days = [f"made {found.created_on}"]
        days += [f"sent {found.sent_on}"] if found.sent_on else []
        days += [f"promised {found.promised_on}"] if found.promised_on else []
        self.head(
            f"{found.ref} to {found.supplier_name or found.supplier}: {found.state}; "
            f"{', '.join(days)}; {money(found.cost_minor)} without freight"
        )
        self.refresh_bindings()

    def _cells(self, line: PurchaseLine) -> tuple[str, ...]:
        promised = line.promised_on or (self.purchase.promised_on if self.purchase else None)
        return (
            *(line.item, line.pack, amount(line.amount, line.unit), str(line.packs)),
            *(str(line.received_packs), str(line.cancelled_packs), str(line.open_packs)),
            *(plain_money(line.price_minor), _day(promised)),
        )

    @on(Rows.Moved)
    def _why(self, event: Rows.Moved) -> None:
        why = event.row.why[-3:] if event.row is not None else ()
        self.query_one("#purchase-why", Static).update(" ".join(why))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Only what its state allows."""
        state = self.purchase.state if self.purchase else ""
        if action in ("send", "packs"):
            return state == "draft"
        if action in ("receive", "receive_all", "retime", "cancel"):
            return state in ("draft", "sent", "part received")
        return super().check_action(action, parameters)

    def _line(self) -> PurchaseLine | None:
        line: PurchaseLine | None = self.query_one(Rows).current
        return line

    def action_receive(self) -> None:
        """The line under the cursor came."""
        line, ref, day = self._line(), self.ref, self.day
        if line is None:
            return

        def act(book: Book, answers: Answers) -> Any:
            from stock.exchange.written_dates import read_use_by
            from stock.shop.purchase_deliveries import receive_purchase
            from stock.shop.station import who

            until = answers["expires"]
            return receive_purchase(
                *(book, ref),
                on=day,
                sku=line.item,
                packs=int(answers["packs"]),
                lot=answers["lot"],
                expires=read_use_by(until, on=day) if until else None,
                who=who(),
            )

        form = Form(
            f"{line.item} on {ref}: {line.open_packs} packs are open",
            (
                Field("packs", "Packs that came", str(line.open_packs or 1), check=whole_number(1)),
                Field("lot", "Lot", hint="on the label; nothing: the day"),
                Field("expires", "Use by", hint="on the label", check=day_by(day, month=True)),
            ),
            act,
            note="Check the label against the form before it goes on the shelf.",
        )
        self.ask(form, self._received)

    def action_receive_all(self) -> None:
        """Everything open came."""
        ref, day = self.ref, self.day

        def act(book: Book) -> Any:
            from stock.shop.purchase_deliveries import receive_purchase
            from stock.shop.station import who

            return receive_purchase(book, ref, on=day, who=who())

        def answered(answer: str | None) -> None:
            if answer == "y":
                self.post(act, self._received)

        self.app.push_screen(
            Question(
                f"Everything that is open on {ref} came, whole? Lots get the day as their code and "
                "the stated shelf life; take lines with a label of their own one by one (r).",
                (("y", "yes, receive all of it"),),
            ),
            answered,
        )

    def _received(self, received: Any) -> None:
        lots = "; ".join(str(lot) for lot in received.lots)
        self.booked(received.entry, " ".join([f"Entry {received.entry}: {lots}.", *received.notes]))

    def _changed(self, found: Purchase) -> None:
        self.say(f"✓ {found.ref} is {found.state}.")
        self.look_again()

    def action_send(self) -> None:
        """It went out."""
        ref, day = self.ref, self.day

        def act(book: Book, answers: Answers) -> Purchase:
            from stock.shop.purchases import send_purchase

            return send_purchase(book, ref, on=day, promised_on=_read(answers["promised"], day))

        form = Form(
            f"{ref} went to the supplier today",
            (Field("promised", "Promised for", hint="nothing: not named", check=day_by(day)),),
            act,
            note="Nothing is sent from here. e writes the order sheet.",
        )
        self.ask(form, self._changed)

    def action_packs(self) -> None:
        """Another number of packs of the line under the cursor."""
        line, ref, day = self._line(), self.ref, self.day
        if line is None:
            return

        def act(book: Book, answers: Answers) -> Purchase:
            from stock.shop.purchases import change_packs

            return change_packs(book, ref, line.item, int(answers["packs"]), on=day)

        form = Form(
            f"Packs of {line.item} on {ref}",
            (Field("packs", "Packs", str(line.packs), "0 takes it off", check=whole_number()),),
            act,
        )
        self.ask(form, self._changed)

    def action_retime(self) -> None:
        """Another day, for the whole order."""
        ref, day = self.ref, self.day

        def act(book: Book, answers: Answers) -> Purchase:
            from stock.shop.purchases import retime_purchase

            until = _read(answers["day"], day)
            assert until is not None
            return retime_purchase(
                book, ref, until, on=day, reason=answers["reason"], sku=answers["item"]
            )

        form = Form(
            f"The supplier names another day for {ref}",
            (
                Field("day", "New day", check=day_by(day, empty=False)),
                Field("reason", "Reason", hint="kept with the order", check=needed),
                Field("item", "Only this item", hint="nothing: the whole order"),
            ),
            act,
        )
        self.ask(form, self._changed)

    def action_write(self) -> None:
        """Write the order sheet."""
        ref = self.ref

        def act(book: Book, answers: Answers) -> str:
            from stock.shop.order_sheets import order_file
            from stock.shop.purchases import show_purchase

            path = typed_path(answers["file"])
            content = order_file(show_purchase(book, ref), path.suffix)
            part = path.with_name(f".{path.name}.part")
            try:
                part.write_bytes(content)
                part.replace(path)
            except OSError:
                part.unlink(missing_ok=True)
                raise
            return f"{path} is written."

        form = Form(
            f"Write the order sheet of {ref}",
            (Field("file", "File", f"{ref}.pdf", ".pdf, .csv or .xlsx", check=SHEET),),
            act,
        )
        self.ask(form, lambda said: self.say(f"✓ {said}"))

    def action_cancel(self) -> None:
        """Cancel the line under the cursor, or all of it."""
        line, ref, day = self._line(), self.ref, self.day
        sku = line.item if line is not None else ""

        def act(book: Book, answers: Answers) -> Purchase:
            from stock.shop.purchases import cancel_purchase

            return cancel_purchase(book, ref, on=day, sku=answers["item"], reason=answers["reason"])

        form = Form(
            f"Cancel what is open on {ref}",
            (
                Field("item", "Item", sku, "nothing: the whole order"),
                Field("reason", "Reason", check=needed),
            ),
            act,
            note="Empty the item to cancel the whole order. Tell the supplier too: nothing is sent "
            "from here.",
        )
        self.ask(form, self._changed)

    def action_back(self) -> None:
        """To the screen before."""
        self.app.pop_screen()


def _day(day: date | None) -> str:
    return day.isoformat() if day else "–"


def _read(text: str, day: date) -> date | None:
    from stock.exchange.written_dates import read_date

    return read_date(text, on=day) if text else None
