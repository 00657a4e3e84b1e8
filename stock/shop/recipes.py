"""Pretreat: which item prints take, in which unit, and what it is mixed from.

Doses are in g; an item kept in mL is drawn by its density. A ready mix is not bought: its need and
its stock are also carried by the concentrate it is mixed from, so that the concentrate is what is
ordered. ``ratio`` is parts of water to one part of concentrate.
"""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, select

from stock.book.tables import item
from stock.demand.known import PieceUse

WATER_G_PER_ML = 1.0
"""Density of a pretreat whose sheet nobody copied in: that of water, which it mostly is (common
practice, no source)."""


@dataclass(frozen=True, slots=True)
class Mix:
    """A ready mix; ``share`` of each base unit of it is concentrate."""

    ready: str
    concentrate: str
    share: float


@dataclass(frozen=True)
class Recipes:
    """Pretreats of the book.

    Args:
        sprayed: Sku prints draw first; empty when the book has no ready pretreat.
        unit: Its unit, g or mL.
        g_per_ml: Its density.
        mixes: Every ready mix.
    """

    sprayed: str
    unit: str
    g_per_ml: float
    mixes: tuple[Mix, ...]

    def of(self, ready: str) -> Mix | None:
        """The recipe of a ready mix."""
        return next((mix for mix in self.mixes if mix.ready == ready), None)

    def uses(self, grams: float, sd_grams: float) -> tuple[PieceUse, ...]:
        """What one piece takes of the sprayed pretreat, and of its concentrate."""
        if not self.sprayed or grams <= 0:
            return ()
        per_gram = amount_of_grams(1.0, self.unit, self.g_per_ml)
        amount, sd = grams * per_gram, sd_grams * per_gram
        taken = [PieceUse(self.sprayed, amount, sd)]
        mix = self.of(self.sprayed)
        if mix is not None:
            taken.append(PieceUse(mix.concentrate, amount * mix.share, sd * mix.share))
        return tuple(taken)


def amount_of_grams(grams: float, unit: str, g_per_ml: float | None) -> float:
    """Grams of a pretreat in the unit it is kept in.

    >>> amount_of_grams(11.0, "mL", 1.1), amount_of_grams(11.0, "g", None)
    (10.0, 11.0)
    """
    return grams / (g_per_ml or WATER_G_PER_ML) if unit == "mL" else grams


def recipes_of(connection: Connection) -> Recipes:
    """The book's pretreats; the first ready one by age is what prints draw."""
    rows = connection.execute(
        select(
            item.c.sku, item.c.unit, item.c.density_g_per_ml, item.c.mixed_from, item.c.mix_ratio
        )
        .where(item.c.kind == "pretreat")
        .order_by(item.c.id)
    ).all()
    units = {row.sku: row.unit for row in rows}
    concentrates = {row.mixed_from for row in rows if row.mixed_from}
    mixes = tuple(
        Mix(row.sku, row.mixed_from, 1 / (1 + row.mix_ratio))
        for row in rows
        if row.mixed_from and row.mix_ratio is not None and units.get(row.mixed_from) == row.unit
    )
    for row in rows:
        if row.sku not in concentrates and row.unit in ("g", "mL"):
            density = row.density_g_per_ml or WATER_G_PER_ML
            return Recipes(row.sku, row.unit, density, mixes)
    return Recipes("", "g", WATER_G_PER_ML, mixes)
