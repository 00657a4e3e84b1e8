"""Accepting the weekly list: its lines become draft purchase orders, one draft per supplier.

A list can be accepted once. What was put on order since it was made is taken off its lines in the
same transaction that writes them, so that two people who accept the same list, or one who accepts
it twice, order once. Money is minor units.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Connection, Row, insert, select, update

from stock.book.opening import Book
from stock.book.tables import item, pack, purchase_line, purchase_order, supplier
from stock.clock import now_utc
from stock.errors import Refused, Unknown
from stock.plan.decisions import Decisions, ReorderLine
from stock.plan.price import feasible, purchase_cost
from stock.plan.snapshot import Offer
from stock.shop.purchases import Purchase, read_purchase
from stock.shop.snapshot.buying import offer_of, on_order_of

MOST_PACKS = 1_000_000


@dataclass(frozen=True, slots=True)
class Accepted:
    """What accepting did.

    Args:
        purchases: The drafts that got lines, as they stand now.
        added: (purchase, item, packs) of each line added.
        notes: What was left out or is odd, in sentences.
    """

    purchases: tuple[Purchase, ...]
    added: tuple[tuple[str, str, int], ...]
    notes: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """The drafts, what was added to them, the notes."""
        return {
            "purchases": [purchase.to_json() for purchase in self.purchases],
            "added": [
                {"purchase": ref, "item": sku, "packs": packs} for ref, sku, packs in self.added
            ],
            "notes": list(self.notes),
        }


def accept_reorder(
    book: Book,
    weekly: Decisions,
    *,
    on: date | None = None,
    supplier_code: str = "",
    packs: Mapping[str, int] | None = None,
    who: str = "",
) -> Accepted:
    """Put the list's lines on draft purchase orders.

    Args:
        weekly: The list as it was shown.
        on: Day of the orders; default the list's day.
        supplier_code: Only this supplier's lines.
        packs: Packs by item where the buyer chose another number; 0 leaves the line out.

    Raises:
        Unknown: An edited item that is not on the list.
        Refused: Packs that cannot be, or a pack the book no longer has.
    """
    chosen = dict(packs or {})
    lines = [line for line in weekly.lines if supplier_code in ("", line.supplier)]
    for sku, count in chosen.items():
        if all(line.item != sku for line in lines):
            raise Unknown("line of this list for", sku, [line.item for line in lines[:3]])
        if not 0 <= count <= MOST_PACKS:
            raise Refused(f"{sku}: {count} packs were given; expected 0 to {MOST_PACKS:,}.")
    day = on or weekly.day

    def work(connection: Connection) -> Accepted:
        return _Accepting(connection, weekly, day, who).take(lines, chosen)

    return book.write(work)


class _Accepting:
    def __init__(self, connection: Connection, weekly: Decisions, day: date, who: str) -> None:
        self.connection, self.weekly, self.day, self.who = connection, weekly, day, who
        self.notes: list[str] = []
        self.added: list[tuple[str, str, int]] = []
        self.drafts: dict[int, tuple[int, str]] = {}

    def take(self, lines: list[ReorderLine], chosen: Mapping[str, int]) -> Accepted:
        suppliers = self._lock({line.supplier for line in lines})
        since = self._ordered_since()
        for line in lines:
            wanted = chosen.get(line.item, line.packs)
            if wanted == 0:
                continue
            bought = self._pack(line, suppliers)
            offer = offer_of(bought, line.item, line.supplier)
            left = self._less_what_is_on_order(line, offer, wanted, since.get(line.item, {}))
            if left > 0:
                if feasible(offer, left) != left:
                    self.notes.append(
                        f"{line.item}: {line.supplier} sells {line.pack} in multiples of "
                        f"{offer.multiple}, {offer.min_packs} at least; {left} were ordered."
                    )
                self._add(line, bought, left, chosen)
        refs = dict.fromkeys(ref for ref, _, _ in self.added)
        return Accepted(
            tuple(read_purchase(self.connection, ref) for ref in refs),
            tuple(self.added),
            tuple(self.notes),
        )

    def _lock(self, codes: set[str]) -> dict[str, int]:
        """Ids of these suppliers, locked in one order: one list is accepted at a time."""
        wanted = (
            select(supplier.c.id, supplier.c.code)
            .where(supplier.c.code.in_(codes))
            .order_by(supplier.c.id)
        )
        if self.connection.dialect.name == "postgresql":
            wanted = wanted.with_for_update()
        return {row.code: row.id for row in self.connection.execute(wanted)}

    def _ordered_since(self) -> dict[str, dict[str, float]]:
        """By item: what is on order now by purchase order, and what newer lines ordered in all."""
        found: dict[str, dict[str, float]] = {}
        for line in on_order_of(self.connection, max(self.day, self.weekly.day)):
            by_order = found.setdefault(line.item, {})
            by_order[line.purchase] = by_order.get(line.purchase, 0.0) + line.amount
        newer = self.connection.execute(
            select(
                item.c.sku,
                purchase_line.c.packs - purchase_line.c.cancelled_packs,
                pack.c.amount - pack.c.unusable_rest,
            )
            .join(pack, pack.c.id == purchase_line.c.pack_id)
            .join(item, item.c.id == pack.c.item_id)
            .where(purchase_line.c.id > self.weekly.newest_purchase_line)
        )
        for sku, count, amount in newer:
            by_order = found.setdefault(sku, {})
            by_order[""] = by_order.get("", 0.0) + count * amount / 1000
        return found

    def _less_what_is_on_order(
        self, line: ReorderLine, offer: Offer, wanted: int, now: Mapping[str, float]
    ) -> int:
        """Packs of ``wanted`` not yet ordered by somebody since the list was made."""
        on_order = sum(amount for ref, amount in now.items() if ref)
        grown = max(on_order - line.on_order, now.get("", 0.0))
        already = int(-(-(grown - 1e-6) // offer.amount)) if grown > 1e-6 else 0
        if not already:
            return wanted
        left = max(wanted - already, 0)
        where = ", ".join(sorted(ref for ref in now if ref)) or "an order received since"
        rest = f"{left} packs are added" if left else "nothing is added"
        self.notes.append(
            f"{line.item}: {already} packs were ordered since this list was made ({where}); {rest}."
        )
        return left

    def _pack(self, line: ReorderLine, suppliers: Mapping[str, int]) -> Row[Any]:
        row = self.connection.execute(
            select(pack).where(
                pack.c.supplier_id == suppliers.get(line.supplier, 0), pack.c.code == line.pack
            )
        ).one_or_none()
        if row is None:
            raise Refused(
                f"{line.supplier} no longer has pack {line.pack} of {line.item} in the book; "
                "make the list again."
            )
        return row

    def _draft(self, supplier_id: int) -> tuple[int, str]:
        """The supplier's draft; made when there is none."""
        if supplier_id not in self.drafts:
            known = self.connection.execute(
                select(purchase_order.c.id, purchase_order.c.ref)
                .where(
                    purchase_order.c.supplier_id == supplier_id,
                    purchase_order.c.state == "draft",
                )
                .order_by(purchase_order.c.id)
                .limit(1)
            ).one_or_none()
            self.drafts[supplier_id] = tuple(known) if known else self._new_draft(supplier_id)
        return self.drafts[supplier_id]

    def _new_draft(self, supplier_id: int) -> tuple[int, str]:
        ref = next_ref(self.connection, self.day)
        made = self.connection.execute(
            insert(purchase_order)
            .values(
                ref=ref,
                supplier_id=supplier_id,
                state="draft",
                created_on=self.day,
                at=now_utc(),
                who=self.who,
            )
            .returning(purchase_order.c.id)
        ).scalar_one()
        return int(made), ref

    def _add(
        self, line: ReorderLine, bought: Row[Any], count: int, chosen: Mapping[str, int]
    ) -> None:
        purchase_id, ref = self._draft(bought.supplier_id)
        why = [*line.why]
        if chosen.get(line.item, line.packs) != line.packs:
            why.append(f"The list said {line.packs} packs; the buyer chose {chosen[line.item]}.")
        there = self.connection.execute(
            select(purchase_line).where(
                purchase_line.c.purchase_id == purchase_id, purchase_line.c.pack_id == bought.id
            )
        ).one_or_none()
        if there is None:
            self.connection.execute(
                insert(purchase_line).values(
                    purchase_id=purchase_id,
                    pack_id=bought.id,
                    packs=count,
                    price_minor=packs_price(bought, count),
                    why=why,
                )
            )
        else:
            total = there.packs - there.cancelled_packs + count
            self.connection.execute(
                update(purchase_line)
                .where(purchase_line.c.id == there.id)
                .values(
                    packs=there.packs + count,
                    price_minor=packs_price(bought, total),
                    why=[*there.why, f"{self.day}: {count} packs more.", *why],
                )
            )
        self.added.append((ref, line.item, count))


def packs_price(bought: Row[Any], count: int) -> int:
    """Price of one pack when ``count`` are bought, minor units, price breaks applied."""
    offer = offer_of(bought, "", "")
    return round(float(purchase_cost(offer, count)) / count)


def next_ref(connection: Connection, day: date) -> str:
    """The next free reference of a purchase order, as ``P-2026-0017``."""
    start = f"P-{day.year}-"
    taken = connection.scalars(
        select(purchase_order.c.ref).where(purchase_order.c.ref.like(f"{start}%"))
    )
    numbers = [int(ref[len(start) :]) for ref in taken if ref[len(start) :].isdigit()]
    return f"{start}{max(numbers, default=0) + 1:04d}"
