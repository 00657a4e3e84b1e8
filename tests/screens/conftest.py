"""A small shop's book as a template file, copied for each test; an app on it with a fixed day."""

from __future__ import annotations

import asyncio
import os
import shutil
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from textual.pilot import Pilot

from stock.book.opening import create_book, open_book
from stock.screens.app import StockApp
from stock.shop.imports import import_rows
from stock.shop.keeping import check_book
from stock.shop.loading import Load, load
from stock.shop.onhand import on_hand

DAY = date(2026, 3, 11)

FILES = {
    "suppliers": "code,lead_days,order_days\nALDER,4,\nBRAMBLE,2,\n",
    "items": """\
sku,kind,channel,style,colour,size,shade,shelf_life_days,open_life_days,density_g_per_ml
INK-C,ink,C,,,,,365,180,1.07
INK-M,ink,M,,,,,365,180,1.07
INK-Y,ink,Y,,,,,365,180,1.07
INK-K,ink,K,,,,,365,180,1.07
INK-W,ink,W,,,,,365,180,1.15
PT,pretreat,,,,,,365,180,
TEE-BLK-L,blank,,TEE,BLK,L,dark,,,
TEE-WHT-L,blank,,TEE,WHT,L,light,,,
""",
    "packs": """\
sku,supplier,code,amount,price,gtin,tare_g
INK-C,ALDER,C350,350 mL,62,,90
INK-M,ALDER,M350,350 mL,62,,90
INK-Y,ALDER,Y350,350 mL,62,,90
INK-K,ALDER,K350,350 mL,62,,90
INK-W,ALDER,W700,700 mL,104,09521234543213,120
PT,ALDER,PT5,5 kg,68,,
TEE-BLK-L,BRAMBLE,TBL,1,3.10,,
TEE-WHT-L,BRAMBLE,TWL,1,2.80,,
""",
    "printers": """\
printer,slot,channel,feed,capacity,item,per_day_ml,per_print_ml
P1,P1-C,C,cartridge,350 mL,INK-C,0,0
P1,P1-M,M,cartridge,350 mL,INK-M,0,0
P1,P1-Y,Y,cartridge,350 mL,INK-Y,0,0
P1,P1-K,K,cartridge,350 mL,INK-K,0,0
P1,P1-W,W,cartridge,700 mL,INK-W,0,0
""",
    "artworks": "artwork,file\nSQUARE,square.png\n",
    "orders": """\
order,line,placed_on,due_on,stage,blank,quantity,artwork,width_cm,printer
A1,1,2026-03-02,2026-03-12,released,TEE-BLK-L,12,SQUARE,10,P1
A1,2,2026-03-02,2026-03-12,released,TEE-WHT-L,6,SQUARE,10,P1
A2,1,2026-03-09,2026-03-20,quote,TEE-BLK-L,24,SQUARE,20,P1
""",
    "deliveries": """\
delivery,sku,packs,lot,expires,received_on
D1,INK-C,2,C1,2026-12-01,2026-03-02
D1,INK-M,2,M1,2026-12-01,2026-03-02
D1,INK-Y,2,Y1,2026-04-01,2026-03-02
D1,INK-K,2,K1,2026-12-01,2026-03-02
D1,INK-W,2,W1,2026-12-01,2026-03-02
D1,PT,1,PT1,2026-12-01,2026-03-02
D2,TEE-BLK-L,15,,,2026-03-03
D2,TEE-WHT-L,10,,,2026-03-03
""",
}


def neutral(folder: Path) -> dict[str, str | None]:
    """Variables that take this machine's settings and terminal out of a test; None: unset."""
    settings = folder / "settings.toml"
    settings.touch()
    unset = [
        name
        for name in os.environ
        if name.startswith(("STOCK_", "TEXTUAL")) or name in ("NO_COLOR", "FORCE_COLOR")
    ]
    return dict.fromkeys(unset) | {"STOCK_SETTINGS": str(settings), "USER": "press 1"}


@pytest.fixture(autouse=True)
def neutral_station(tmp_path_factory: pytest.TempPathFactory, monkeypatch: Any) -> None:
    """Every test sees the same station, whoever runs it in whatever terminal."""
    for name, value in neutral(tmp_path_factory.mktemp("station")).items():
        if value is None:
            monkeypatch.delenv(name)
        else:
            monkeypatch.setenv(name, value)


def make_template(folder: Path) -> Path:
    """The small shop's book, made by the real importers."""
    black = np.full((120, 120, 4), (0, 0, 0, 255), np.uint8)
    Image.fromarray(black, "RGBA").save(folder / "square.png")
    book = create_book(folder / "template.sqlite")
    for kind, text in FILES.items():
        (folder / f"{kind}.csv").write_text(text, encoding="utf-8")
        import_rows(book, kind, folder / f"{kind}.csv", on=DAY, who="press 1")
    for channel in "CMYKW":
        load(book, Load(f"P1-{channel}", date(2026, 3, 3), sku=f"INK-{channel}"), who="press 1")
    book.close()
    return folder / "template.sqlite"


@pytest.fixture(scope="session")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small shop's book, made once."""
    return make_template(tmp_path_factory.mktemp("screens"))


@pytest.fixture
def book_file(template: Path, tmp_path: Path) -> Path:
    """A fresh copy of the template for one test."""
    return Path(shutil.copy(template, tmp_path / "book.sqlite"))


async def settled(pilot: Pilot[Any]) -> None:
    """Wait until no worker runs and the screen has caught up."""
    for _ in range(400):
        await pilot.pause()
        if not [w for w in pilot.app.workers if w.is_running]:
            await pilot.pause()
            if not [w for w in pilot.app.workers if w.is_running]:
                return
        await asyncio.sleep(0.02)
    raise AssertionError("the app's work did not end")


Open = Callable[..., Any]


@pytest.fixture
def opened(book_file: Path) -> Open:
    """Open the app on the test's book: ``async with opened() as pilot``."""

    @asynccontextmanager
    async def run(
        size: tuple[int, int] = (80, 24), address: str = "", day: date = DAY
    ) -> AsyncIterator[Pilot[Any]]:
        app = StockApp(address or str(book_file), day=day)
        async with app.run_test(size=size) as pilot:
            await settled(pilot)
            yield pilot

    return run


async def press(pilot: Pilot[Any], *keys: str) -> None:
    """Press keys and wait for what they set off."""
    await pilot.press(*keys)
    await settled(pilot)


async def type_in(pilot: Pilot[Any], text: str) -> None:
    """Type text as a keyboard (or a scanner) would."""
    await pilot.press(*(NAMES.get(letter, letter) for letter in text))


NAMES = {
    " ": "space",
    "+": "plus",
    "-": "minus",
    "(": "left_parenthesis",
    ")": "right_parenthesis",
    ".": "full_stop",
    "/": "slash",
}


def shown(pilot: Pilot[Any]) -> str:
    """The screen as text, line by line."""
    strips = pilot.app.screen._compositor.render_strips()
    return "\n".join("".join(part.text for part in strip).rstrip() for strip in strips)


def sound(book_file: Path) -> bool:
    """Whether everything in the book adds up."""
    book = open_book(book_file)
    try:
        return check_book(book).findings == ()
    finally:
        book.close()


def held(book_file: Path, item: str) -> float:
    """Base units of an item anywhere in the book."""
    book = open_book(book_file)
    try:
        return sum(row.amount for row in on_hand(book) if row.item == item) / 1000
    finally:
        book.close()


@pytest.fixture(scope="session")
def shop_book(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, date]:
    """The invented shop's book and its day: names and figures as long as real ones."""
    from stock.shop.demo import build_demo

    folder, day = tmp_path_factory.mktemp("shop"), date(2026, 3, 9)
    build_demo(folder, day, say=lambda _: None).close()
    return folder / "book.sqlite", day
