"""What came on a purchase order: one item of it, or all that is still open."""

from __future__ import annotations

from datetime import date

from stock.book.opening import Book
from stock.errors import Refused, Unknown
from stock.shop.purchases import OPEN_STATES, PurchaseLine, show_purchase
from stock.shop.receive import Delivery, Received, receive_all


def receive_purchase(
    book: Book,
    ref: str,
    *,
    on: date,
    sku: str = "",
    packs: int | None = None,
    lot: str = "",
    expires: date | None = None,
    place: str = "SHELF",
    who: str = "",
) -> Received:
    """Book a delivery on a purchase order.

    Args:
        sku: One item of the order; empty: every line that is still open, whole.
        packs: Packs of that item; missing: all that are open.

    Raises:
        Unknown: No such order, or the item is not on it.
        Refused: Nothing is open.
    """
    purchase = show_purchase(book, ref)
    if purchase.state not in OPEN_STATES:
        raise Refused(f"Purchase order {ref} is {purchase.state}; nothing is expected on it.")
    wanted = [line for line in purchase.lines if sku in ("", line.item)]
    if not wanted:
        raise Unknown(f"line of {ref} for", sku, sorted({line.item for line in purchase.lines})[:3])
    still_open = [line for line in wanted if line.open_packs] or (wanted[:1] if packs else [])
    if not still_open:
        raise Refused(f"{sku or ref}: everything ordered on {ref} has come.")
    if packs is not None and len(still_open) > 1:
        still_open = still_open[:1]

    def delivery(line: PurchaseLine) -> Delivery:
        return Delivery(
            on=on,
            sku=line.item,
            packs=line.open_packs if packs is None else packs,
            lot=lot,
            expires=expires,
            supplier=purchase.supplier,
            purchase=ref,
            pack_code=line.pack,
            place=place,
            cost_minor=line.price_minor * (line.open_packs if packs is None else packs),
        )

    return receive_all(book, [delivery(line) for line in still_open], who=who)
