"""What drives each item's use: the series behind it and the factor from series to item.

Ink follows printed area, blanks their style and colour split by a size curve, everything else
its own past. Built from the history and the links; amounts are in the items' base units.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stock.demand.known import Bools, Floats, History, ItemTerms, Link
from stock.demand.sizes import shop_curve, size_curve


@dataclass(frozen=True, slots=True)
class Drive:
    """One item's use of one series: use = series × (factor ± sd), of which a size takes a share.

    ``share_weights`` are the weights of the size and of all other sizes in the family's Dirichlet
    posterior, or None when the item takes the whole.
    """

    series: int
    factor: float = 1.0
    factor_sd: float = 0.0
    share_weights: tuple[float, float] | None = None


def drivers(
    items: Sequence[ItemTerms], history: History, links: Sequence[Link]
) -> tuple[History, tuple[tuple[Drive, ...], ...]]:
    """The series to forecast and, per item, what it takes of each.

    A linked item takes those of its linked series that the history has, else its own. A blank with
    a family takes a share of the family's series (``family:<family>`` in the history, else the sum
    of its sizes). Other items take the series of their own sku. A replaced sku's history is added
    to its successor's, and the replaced sku itself gets no drive; nor do items needed by schedule
    or without a series.
    """
    book = _Series(items, history)
    by_item: dict[str, list[Link]] = {}
    for link in links:
        by_item.setdefault(link.item, []).append(link)
    curves = _curves(items, book)
    drives: list[tuple[Drive, ...]] = []
    for item in items:
        own = by_item.get(item.sku, [])
        if item.every_prints or item.every_days or item.sku in book.replaced:
            drives.append(())
        elif item.sku in curves:
            factor = own[0].factor if own else 1.0
            sd = own[0].factor_sd if own else 0.0
            row = book.family(item.family)
            drives.append((Drive(row, factor, sd, curves[item.sku]),))
        elif own:
            found = [(book.named(link.series), link) for link in own]
            linked = [Drive(r, k.factor, k.factor_sd) for r, k in found if r is not None]
            drives.append(tuple(linked) or book.alone(item.sku))
        else:
            drives.append(book.alone(item.sku))
    return book.history(), tuple(drives)


def own_use(items: Sequence[ItemTerms], history: History) -> History:
    """Each item's own use, with that of the items it replaces; those replaced are left out.

    >>> import numpy as np
    >>> past = History(("old", "new"), np.array(["2026-01-05"], "datetime64[D]"),
    ...                np.array([[5.0], [np.nan]]), np.zeros((2, 1), bool))
    >>> old, new = (ItemTerms(sku, "supply", "each", replaces=one)
    ...             for sku, one in (("old", ""), ("new", "old")))
    >>> own_use([old, new], past).keys
    ('new',)
    """
    book = _Series(items, history)
    for item in items:
        if item.sku not in book.replaced:
            book.own(item.sku)
    return book.history()


class _Series:
    """Collects the series that are needed, each once."""

    def __init__(self, items: Sequence[ItemTerms], history: History) -> None:
        self.given = history
        self.place = {key: row for row, key in enumerate(history.keys)}
        self.replaces = _without_circles(
            {item.sku: item.replaces for item in items if item.replaces}
        )
        self.replaced = set(self.replaces.values())
        self.members: dict[str, list[str]] = {}
        for item in items:
            if item.kind == "blank" and item.family:
                self.members.setdefault(item.family, []).append(item.sku)
        self.keys: list[str] = []
        self.values: list[Floats] = []
        self.floors: list[Bools] = []
        self.rows: dict[str, int] = {}

    def _add(self, key: str, sources: Sequence[str]) -> int | None:
        if key in self.rows:
            return self.rows[key]
        places = [self.place[source] for source in dict.fromkeys(sources) if source in self.place]
        if not places:
            return None
        values = self.given.values[places]
        missing = np.isnan(values).all(axis=0)
        total = np.where(missing, np.nan, np.nansum(values, axis=0))
        self.rows[key] = len(self.keys)
        self.keys.append(key)
        self.values.append(total)
        self.floors.append(np.asarray(self.given.stocked_out[places].any(axis=0), bool))
        return self.rows[key]

    def lineage(self, sku: str) -> list[str]:
        """The sku and all it replaces, newest first."""
        line = [sku]
        while older := self.replaces.get(line[-1], ""):
            line.append(older)
        return line

    def own(self, sku: str) -> int | None:
        """Row of the sku's own use, with that of the items it replaces."""
        return self._add(sku, self.lineage(sku))

    def alone(self, sku: str) -> tuple[Drive, ...]:
        """The sku driven by its own use, or by nothing."""
        row = self.own(sku)
        return () if row is None else (Drive(row),)

    def named(self, key: str) -> int | None:
        """Row of a series of the history."""
        return self.own(key) if key in self.replaces else self._add(key, [key])

    def family(self, family: str) -> int:
        """Row of a family's use."""
        key = f"family:{family}"
        sources = (
            [key]
            if key in self.place
            else [sku for member in self.members[family] for sku in self.lineage(member)]
        )
        row = self._add(key, sources)
        assert row is not None
        return row

    def knows_family(self, family: str) -> bool:
        """Whether anything is known of what the family used."""
        return f"family:{family}" in self.place or any(
            name in self.place for sku in self.members[family] for name in self.lineage(sku)
        )

    def used(self, sku: str) -> Floats:
        """The sku's past use by week, with that of the items it replaces; NaN where not offered."""
        places = [self.place[name] for name in self.lineage(sku) if name in self.place]
        if not places:
            return np.full(len(self.given.mondays), np.nan)
        rows = self.given.values[places]
        missing = np.isnan(rows).all(axis=0)
        return np.where(missing, np.nan, np.nansum(rows, axis=0))

    def history(self) -> History:
        """The collected series."""
        weeks = len(self.given.mondays)
        values = np.array(self.values) if self.values else np.zeros((0, weeks))
        floors = np.array(self.floors) if self.floors else np.zeros((0, weeks), bool)
        return History(tuple(self.keys), self.given.mondays, values, floors)


def _without_circles(replaces: dict[str, str]) -> dict[str, str]:
    """Leave out skus that by way of others replace themselves: nobody can say which is newer."""
    straight = {}
    for sku in replaces:
        seen, older = {sku}, replaces[sku]
        while older in replaces and older not in seen:
            seen.add(older)
            older = replaces[older]
        if older not in seen:
            straight[sku] = replaces[sku]
    return straight


def _curves(items: Sequence[ItemTerms], book: _Series) -> dict[str, tuple[float, float]]:
    """By sku, the Dirichlet weights of its size and of its family's other sizes.

    What the family used was used by the sizes it had: they share it among themselves, and a size
    without a past comes on top by its part of the curve. It may never sell; the others do.
    """
    families: dict[str, list[ItemTerms]] = {}
    for item in items:
        if item.kind == "blank" and item.family and item.sku not in book.replaced:
            families.setdefault(item.family, []).append(item)
    used: dict[str, Floats] = {}
    counts: dict[str, float] = {}
    offered: dict[str, float] = {}
    chance: dict[str, float] = {}
    for members in families.values():
        for item in members:
            used[item.sku] = book.used(item.sku)
        together = np.nansum([used[item.sku] for item in members], axis=0)
        for item in members:
            while_offered = ~np.isnan(used[item.sku])
            chance[item.sku] = float(together[while_offered].sum())
            offered[item.size] = offered.get(item.size, 0.0) + chance[item.sku]
            own = float(np.nansum(used[item.sku]))
            counts[item.size] = counts.get(item.size, 0.0) + own
    pooled = shop_curve(counts, offered)
    curves: dict[str, tuple[float, float]] = {}
    for family, members in families.items():
        if not book.knows_family(family):
            continue
        curve = size_curve(
            [item.size for item in members],
            [float(np.nansum(used[item.sku])) for item in members],
            pooled,
            [chance[item.sku] for item in members],
        )
        weights = curve.weights.tolist()
        seen = [w for item, w in zip(members, weights, strict=True) if chance[item.sku] > 0]
        total = sum(seen) if seen else sum(weights)
        for item, weight in zip(members, weights, strict=True):
            curves[item.sku] = (weight, max(total - weight, 0.0))
    return curves
