"""Every line of the list recomputed from its own sentences, as with a pocket calculator.

The shop is made so that every kind of sentence comes up: lots that expire before they are used,
slots of unsure level, goods on order, packs with a rest that never comes out, multiples and
minimums, price breaks of both kinds, two suppliers, a smallest order, booked orders above the usual
level.
"""

from __future__ import annotations

import re
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from tests.commands.conftest import SHOP, Run, invoker
from tests.commands.trading import FIRST, SETTINGS, TODAY

SIZES = {"fl oz": 29.5735295625, "oz": 28.349523125, "lb": 453.59237, "L": 1000.0, "kg": 1000.0}
"""Base units in one of the unit shown: US customary units by NIST Handbook 44, appendix C."""


def numbers(text: str) -> list[float]:
    """Every number of a sentence, thousands separated by commas."""
    return [float(one.replace(",", "")) for one in re.findall(r"\d[\d,]*(?:\.\d+)?", text)]


class Calculator:
    """Checks one line of the JSON list against its sentences; ``last`` is one in the last place."""

    def __init__(self, line: dict[str, Any]) -> None:
        self.line, self.why = line, line["why"]
        shown = re.search(r"= [\d,]+(?:\.(\d+))?(?: ([^.]+))?\.$", self.said("Position"))
        assert shown is not None
        self.last = 10.0 ** -len(shown[1] or "")
        self.size = SIZES.get(shown[2] or "", 1.0)

    def said(self, begins: str) -> str:
        """The sentence that begins so."""
        return next(why for why in self.why if why.startswith(begins))

    def all_said(self, begins: str) -> list[str]:
        """All sentences that begin so."""
        return [why for why in self.why if why.startswith(begins)]

    def same(self, left: float, right: float, *, roundings: int = 2) -> None:
        """Equal within half of the last place for each figure rounded on the way."""
        assert left == pytest.approx(right, abs=(0.5 * roundings + 0.01) * self.last), self.why

    def stock(self) -> float:
        """Lots to on hand to usable; returns usable."""
        said = self.said("On hand")
        on_hand = numbers(said.partition("lot ")[0])[0]
        lots = re.findall(r" at \S+ ([\d,]+(?:\.\d+)?)(?= until|;|\.$)", said)
        if lots and " more" not in said:
            listed = sum(float(one.replace(",", "")) for one in lots)
            self.same(listed, on_hand, roundings=1 + len(lots))
        gone = self.all_said("Not cover")
        if not gone:
            return on_hand
        before, lost, usable = numbers(self.said("Usable"))
        self.same(before, on_hand, roundings=0)
        self.same(sum(numbers(one)[0] for one in gone), lost, roundings=1 + len(gone))
        self.same(before - lost, usable, roundings=3)
        return usable

    def check(self) -> None:
        """All of it; figures of the document are the sentences', rounded."""
        line = self.line
        usable, on_order, position = numbers(self.said("Position"))
        self.same(usable, self.stock(), roundings=0)
        coming = self.all_said("On order:")
        self.same(sum(numbers(one)[0] for one in coming), on_order, roundings=1 + len(coming))
        self.same(usable + on_order, position, roundings=3)
        self.same(usable, line["on_hand_usable"] / self.size, roundings=1)
        self.same(on_order, line["on_order"] / self.size, roundings=1)

        *parts, total = numbers(self.said("Need in that time"))
        for part, name in zip(parts, ("firm", "quotes", "unbooked", "upkeep"), strict=True):
            self.same(part, line["need"][name] / self.size, roundings=1)
        self.same(sum(parts), total, roundings=5)

        level_said = self.said("Level")
        level = numbers(level_said)[0]
        expected, safety = numbers(level_said.split("that is")[1])
        self.same(expected, total, roundings=0)
        sign = -1 if " − " in level_said.split("that is")[1] else 1
        self.same(expected + sign * safety, level, roundings=3)
        self.same(level, line["level"] / self.size, roundings=1)

        _, low, lot, up_to = numbers(self.said("Lot on top"))
        self.same(low, level, roundings=0)
        self.same(low + lot, up_to, roundings=3)
        self.same(up_to, line["order_up_to"] / self.size, roundings=1)
        self.bought(position, up_to)

    def bought(self, position: float, up_to: float) -> None:
        """Short to packs to money."""
        line = self.line
        if self.all_said("Short"):
            top, held, short, packs, pack, count, amount = numbers(self.said("Short"))
            self.same(top, up_to, roundings=0)
            self.same(held, position, roundings=0)
            self.same(top - held, short, roundings=3)
            assert short / pack == pytest.approx(packs, abs=0.0051 + 0.51 * self.last / pack)
            assert count == line["packs"]
            assert count * pack == pytest.approx(amount, abs=0.51 * self.last + 0.001 * count)
            left = self.all_said("That leaves")
            if left:
                self.same(up_to - position - amount, numbers(left[0])[0], roundings=4)
            else:
                assert position + amount >= up_to - 2 * self.last
        count, each, cost = numbers(self.said("Cost"))
        assert count == line["packs"]
        assert cost == line["cost"]
        assert count * each == pytest.approx(cost, abs=0.005 * count + 0.005)


FILES = {
    "suppliers": """\
code,lead_days,order_days,order_cost,line_cost,minimum,freight,free_freight,cut_off_hour
ALDER,4,"mon,thu",12,1.5,300,8.9,600,11
BRAMBLE,2,,2,0.5,40,6,100,
CEDAR,6,,1,0.1,,,,
""",
    "items": SHOP["items"],
    "packs": """\
sku,supplier,code,amount,price,breaks,break_kind,multiple,min_packs,unusable_rest
INK-C,ALDER,C350,350 mL,62,,,,,
INK-M,ALDER,M350,350 mL,62,,,,,
INK-Y,ALDER,Y350,350 mL,62,,,,,
INK-K,ALDER,K350,350 mL,62,,,,,
INK-W,ALDER,W700,700 mL,104,,,,,
INK-W,ALDER,W4500,4.5 L,500,3:470;9:444,incremental,,,
INK-W,CEDAR,CW18,1.8 L,240,,,,,90 mL
PT,ALDER,PT5,5 kg,68,,,,,150 g
TEE-BLK-L,BRAMBLE,TBL,1,3.10,10:3.00;72:2.80,,6,12,
TEE-BLK-L,CEDAR,CBL,72,203.04,,,,,
TEE-WHT-L,BRAMBLE,TWL,12,33.33,3:32.17,incremental,,,
""",
    "printers": SHOP["printers"],
    "artworks": "artwork,file\nBEAR,bear.png\n",
}
STOCK = (
    *(("INK-C", "350 mL", "2027-01-01"), ("INK-M", "4.2 L", "2027-01-01")),
    *(("INK-Y", "4.2 L", "2026-07-01"), ("INK-K", "4.2 L", "2027-01-01")),
    *(("INK-W", "4.2 L", "2026-07-05"), ("PT", "15 kg", "2026-06-30"), ("TEE-BLK-L", "40", "")),
)


def made_of_weeks() -> dict[str, str]:
    """Sixteen weeks of one job each, and what is open, on the way and on the shelf."""
    orders = ["order,line,stage,placed_on,due_on,blank,quantity,artwork,width_cm,printer"]
    prints = ["order,line,printed_on,good,misprints,printer"]

    def order(ref: str, stage: str, placed: date, due: date, sku: str, pieces: int) -> None:
        orders.append(f"{ref},1,{stage},{placed},{due},{sku},{pieces},BEAR,28,P1")

    for week in range(16):
        placed, due = FIRST + timedelta(weeks=week), FIRST + timedelta(weeks=week, days=3)
        for sku, pieces in (("TEE-BLK-L", 14 + week % 4), ("TEE-WHT-L", 4)):
            order(f"A{week}{sku[4]}", "released", placed, due, sku, pieces)
            prints.append(f"A{week}{sku[4]},1,{due},{pieces},{week % 2},P1")
    soon = TODAY + timedelta(days=6)
    order("OPEN", "confirmed", TODAY, soon, "TEE-BLK-L", 40)
    order("WHITE", "confirmed", TODAY, soon, "TEE-WHT-L", 60)
    order("QUOTE", "quote", TODAY, soon, "TEE-BLK-L", 40)
    deliveries = [f"D1,{sku},{amount},{sku}-1,{FIRST},{until}" for sku, amount, until in STOCK]
    return {
        "deliveries": "delivery,sku,amount,lot,received_on,expires\n" + "\n".join(deliveries),
        "orders": "\n".join(orders),
        "prints": "\n".join(prints),
        "purchases": "purchase,supplier,ordered_on,code,packs,promised_on,state\n"
        f"P1,ALDER,{TODAY - timedelta(days=6)},W700,1,{TODAY + timedelta(days=2)},sent\n"
        f"P2,BRAMBLE,{TODAY - timedelta(days=16)},TBL,12,{TODAY - timedelta(days=9)},sent\n"
        f"P3,BRAMBLE,{TODAY},TWL,1,,draft",
    }


@pytest.fixture(scope="module")
def varied(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the book of that shop."""
    folder = tmp_path_factory.mktemp("varied")
    Image.new("RGBA", (300, 300), (200, 40, 30, 255)).save(folder / "bear.png")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("STOCK_BOOK", str(folder / "book.sqlite"))
        patch.setenv("STOCK_SETTINGS", str(folder / "none.toml"))
        run = invoker(patch)
        for kind, text in (FILES | made_of_weeks()).items():
            path = folder / f"{kind}.csv"
            path.write_text(text.strip() + "\n", encoding="utf-8")
            ran = run("import", kind, str(path), "--on", TODAY.isoformat())
            assert ran.code == 0, ran.err
    return folder


@pytest.fixture
def list_of(run: Run, varied: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """The list of a day, in either system of units and with either measure of service."""
    monkeypatch.setenv("STOCK_BOOK", str(varied / "book.sqlite"))

    def read(day: date, units: str = "metric", measure: str = "cycle") -> dict[str, Any]:
        said = f'units = "{units}"\n{SETTINGS}\n[service]\nmeasure = "{measure}"\n'
        said += "blank = 0.5\n" if measure == "fill" else ""
        (tmp_path / "settings.toml").write_text(said, encoding="utf-8")
        found: dict[str, Any] = run("reorder", "--json", "--on", day.isoformat()).json()
        return found

    return read


@pytest.mark.parametrize(
    ("units", "measure"), [("metric", "cycle"), ("metric", "fill"), ("us", "cycle")]
)
def test_every_figure_of_every_line_follows_from_its_sentences(list_of, units, measure):
    lines = [
        line
        for days in (0, 4, 10)
        for line in list_of(TODAY + timedelta(days=days), units, measure)["lines"]
    ]
    assert len(lines) >= 6
    for line in lines:
        Calculator(line).check()


def test_the_shop_brings_every_kind_of_sentence_up(list_of):
    said = " ".join(
        sentence
        for days in (0, 4, 10)
        for measure in ("cycle", "fill")
        for line in list_of(TODAY + timedelta(days=days), measure=measure)["lines"]
        for sentence in line["why"]
    )
    for words in (
        *("are in slots not measured", "Not cover", "Usable:", "Not counted", "On order:"),
        *("never come out, so it counts as", "Sold in multiples of 6", "on every pack costs"),
        *("That leaves", "Compared, with holding", "expires unused", "late: ask the supplier"),
        *("95.0% of 300 courses", "with the lot on top, serves 95.0% of need"),
        "booked orders need as much",
    ):
        assert words in said, words


def test_totals_are_the_sums_of_their_lines_and_freight(list_of):
    found = list_of(TODAY)
    for total in found["totals"]:
        own = [line for line in found["lines"] if line["supplier"] == total["supplier"]]
        assert total["lines"] == len(own)
        assert total["goods"] == pytest.approx(sum(line["cost"] for line in own))
        assert total["total"] == pytest.approx(total["goods"] + total["freight"])
        free = {"ALDER": (600, 8.9), "BRAMBLE": (100, 6.0), "CEDAR": (0, 0.0)}[total["supplier"]]
        assert total["freight"] == (0.0 if total["goods"] >= free[0] else free[1])
        least = {"ALDER": 300.0, "BRAMBLE": 40.0, "CEDAR": 0.0}[total["supplier"]]
        assert total["short_of_minimum"] == pytest.approx(max(least - total["goods"], 0.0))
