"""For notebooks: a book, artwork and the plan as pandas frames.

    from stock import open_book, measure, plan

Amounts are in the item's base unit (mL, g, each), named in a ``unit`` column; money is in major
units of ``currency``; days are pandas timestamps. Everything here only reads.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import os
    from types import TracebackType

    import pandas as pd

    from stock.plan.decisions import Decisions, ReorderLine
    from stock.shop import Book

Day = date | str | None


def open_book(where: str | os.PathLike[str] | None = None) -> BookFrames:
    """Open a book to read from.

    Args:
        where: A path or a database URL; None: the station's own book.

    Raises:
        BookUnusable: No book there, newer than this program, locked or damaged.
    """
    from stock.shop import open_book as open_shop_book
    from stock.shop.station import default_book

    return BookFrames(open_shop_book(where if where is not None else default_book()))


def measure(
    *files: str | Path,
    width_cm: float | None = None,
    height_cm: float | None = None,
    garment: str = "light",
    pieces: int = 1,
    mode: str = "",
    printer: str = "",
    book: BookFrames | str | None = None,
) -> pd.DataFrame:
    """Ink by file and channel, and pretreat, for ``pieces`` prints.

    Without a book by prior rates. Columns: ``file, part, full_tone_cm2, amount, sd, unit,
    calibrated``; ``part`` is an ink channel or ``pretreat``.

    Raises:
        Refused: A file, size or garment that cannot be.
    """
    from stock.shop.measuring import measure_files

    rows: list[dict[str, Any]] = []
    for found in measure_files(
        [Path(file) for file in files],
        book=None if book is None else _address(book),
        width_cm=width_cm,
        height_cm=height_cm,
        garment=garment,
        mode=mode,
        printer=printer,
        pieces=pieces,
    ):
        common = {"file": found.file, "calibrated": found.calibrated}
        rows += [
            {
                **common,
                "part": channel,
                "full_tone_cm2": found.covered_cm2[channel],
                "amount": ml,
                "sd": found.ml_sd[channel],
                "unit": "mL",
            }
            for channel, ml in found.ml.items()
        ]
        rows.append(
            {
                **common,
                "part": "pretreat",
                "full_tone_cm2": float("nan"),
                "amount": found.pretreat_g,
                "sd": found.pretreat_g_sd,
                "unit": "g",
            }
        )
    columns = ("file", "part", "full_tone_cm2", "amount", "sd", "unit", "calibrated")
    return _frame(rows, columns)


def plan(book: BookFrames | str | os.PathLike[str] | None = None, on: Day = None) -> PlanFrames:
    """The weekly plan of a book, made for the day ``on`` (default: today)."""
    from stock.shop.planning import reorder_list

    if isinstance(book, BookFrames):
        return PlanFrames(reorder_list(book.book, _day(on)))
    opened = open_book(book)
    try:
        return PlanFrames(reorder_list(opened.book, _day(on)))
    finally:
        opened.close()


@dataclass(frozen=True)
class BookFrames:
    """An open book whose answers are frames; use it in a ``with`` block or close it."""

    book: Book

    def __enter__(self) -> BookFrames:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give the connections back."""
        self.book.close()

    def on_hand(self, on: Day = None) -> pd.DataFrame:
        """What is here, by item, lot, place and container; at the end of ``on`` when given."""
        from stock.shop.onhand import on_hand

        rows = [row.to_json() for row in on_hand(self.book, None if on is None else _day(on))]
        return _frame(rows, days=("sealed_expiry", "effective_expiry"))

    def expiring(self, on: Day = None, within_days: int = 90) -> pd.DataFrame:
        """Lots whose last day comes within so many days, what will be left, what it is worth."""
        from stock.shop.planning import expiring_lots

        lots = expiring_lots(self.book, _day(on), within_days=within_days)
        return _expiring(lots)

    def usage(self, first: Day, last: Day) -> pd.DataFrame:
        """Where everything went between two days, both counted; one row per item and owner."""
        from stock.shop.usage import usage

        report = usage(self.book, _day(first), _day(last)).to_json()
        frame = _frame([{**row, "owner": row["owner"] or ""} for row in report["items"]])
        if len(frame):
            cost = frame.pop("cost").apply(_series).add_prefix("cost_")
            frame = frame.join(cost)
        frame.attrs["currency"] = report["currency"]
        return frame

    def cost_by_month(self, on: Day = None, months: int = 12) -> pd.DataFrame:
        """Cost by month, and ink that really went for each mL estimated; indexed by month."""
        from stock.shop.cost_over_time import cost_by_month

        report = cost_by_month(self.book, _day(on), months=months).to_json()
        rows = [
            {
                "month": month["month"],
                "good": month["good"],
                "misprints": month["misprints"],
                **{f"cost_{name}": cost for name, cost in month["cost"].items()},
                "total": month["total"],
                "per_good_piece": month["per_good_piece"],
                **{f"ink_ml_{name}": ml for name, ml in month["ink_ml"].items()},
                "real_to_estimated": month["real_to_estimated"],
            }
            for month in report["months"]
        ]
        frame = _frame(rows).set_index("month")
        frame.attrs["currency"] = report["currency"]
        return frame

    def order_cost(self, order: str, on: Day = None) -> pd.DataFrame:
        """What a good piece of each line costs, part by part; columns ``line, part, cost``."""
        from stock.shop.cost import order_cost

        report = order_cost(self.book, order, _day(on)).to_json()
        rows: list[dict[str, Any]] = []
        for line in report["lines"]:
            piece = line["per_piece"]
            costs = {f"ink {c}": part["cost"] for c, part in piece["ink"].items()}
            for part in ("pretreat", "blank"):
                if piece[part] is not None:
                    costs[part] = piece[part]["cost"]
            costs |= {"upkeep": piece["upkeep_cost"], "misprints": piece["misprint_cost"]}
            rows += [
                {"line": line["line"], "part": part, "cost": cost} for part, cost in costs.items()
            ]
        frame = _frame(rows, ("line", "part", "cost"))
        frame.attrs["currency"] = report["currency"]
        return frame


@dataclass(frozen=True)
class PlanFrames:
    """A plan: what to buy, what expires, need by week, and the arithmetic of each line."""

    decisions: Decisions

    @property
    def currency(self) -> str:
        """Currency of every price and cost."""
        return self.decisions.currency

    @property
    def lines(self) -> pd.DataFrame:
        """The list: one row per item to buy."""
        rows = [
            {
                "supplier": line.supplier,
                "item": line.item,
                "pack": line.pack,
                "packs": line.packs,
                "amount": line.amount,
                "unit": line.unit,
                "cost": line.cost / 100,
                "on_hand_usable": line.on_hand_usable,
                "on_order": line.on_order,
                **{f"need_{part}": amount for part, amount in line.need.to_json().items()},
                "order_up_to": line.order_up_to,
                "order_by": line.order_by,
                "stockout_chance": line.stockout_chance,
                "expiry_chance": line.expiry_chance,
            }
            for line in self.decisions.lines
        ]
        columns = ("supplier", "item", "pack", "packs", "amount", "unit", "cost", "order_by")
        return _frame(rows, columns if not rows else (), days=("order_by",))

    @property
    def expiring(self) -> pd.DataFrame:
        """Every lot expected to leave some at its date, soonest first."""
        return _expiring(self.decisions.expiring)

    @property
    def need(self) -> pd.DataFrame:
        """Need by item and week (its Monday): exceeded nine times in ten, half the time, once."""
        import pandas as pd

        from stock.clock import monday_of

        first = pd.Timestamp(monday_of(self.decisions.day))
        rows = [
            {
                "item": state.item,
                "week": first + pd.Timedelta(weeks=week),
                "low": state.need_low[week],
                "middle": middle,
                "high": state.need_high[week],
                "unit": state.unit,
            }
            for state in self.decisions.states
            for week, middle in enumerate(state.need_mid)
        ]
        return _frame(rows, ("item", "week", "low", "middle", "high", "unit"))

    def why(self, item: str) -> tuple[str, ...]:
        """The arithmetic of one line, in sentences.

        Raises:
            KeyError: The list has no line for that item.
        """
        line: ReorderLine | None = self.decisions.line(item)
        if line is None:
            raise KeyError(item)
        return line.why


def _expiring(lots: Iterable[Any]) -> pd.DataFrame:
    rows = [
        {
            "item": lot.item,
            "lot": lot.lot,
            "place": lot.place,
            "amount": lot.amount,
            "unit": lot.unit,
            "effective_expiry": lot.effective_expiry,
            "days": lot.days,
            "left_mean": lot.left_mean,
            "left_p90": lot.left_p90,
            "value_at_risk": lot.value_at_risk / 100,
            "advice": lot.advice,
        }
        for lot in lots
    ]
    columns = ("item", "lot", "place", "amount", "unit", "effective_expiry", "days", "left_mean")
    return _frame(rows, columns if not rows else (), days=("effective_expiry",))


def _frame(
    rows: list[dict[str, Any]], columns: Iterable[str] = (), *, days: Iterable[str] = ()
) -> pd.DataFrame:
    import pandas as pd

    frame = pd.DataFrame(rows, columns=list(columns) or None)
    for name in days:
        if name in frame:
            frame[name] = pd.to_datetime(frame[name])
    return frame


def _series(costs: Mapping[str, float]) -> pd.Series:
    import pandas as pd

    return pd.Series(costs)


def _day(on: Day) -> date:
    from stock.clock import today

    if on is None:
        return today()
    return date.fromisoformat(on) if isinstance(on, str) else on


def _address(book: BookFrames | str) -> str:
    if isinstance(book, BookFrames):
        return book.book.url.render_as_string(hide_password=False)
    return str(book)
