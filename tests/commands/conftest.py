"""Running the real command line in this process: words in, text and exit code out."""

from __future__ import annotations

import io
import json
import shutil
import sqlite3
import sys
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from stock.commands.app import main


@dataclass
class Ran:
    """What one command answered."""

    code: int
    out: str
    err: str

    def json(self) -> Any:
        """Its document."""
        assert self.code in (0, 4), self.err
        return json.loads(self.out)


Run = Callable[..., Ran]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run ``stock --book <a book of this test> WORDS`` through the door with its exit codes."""
    monkeypatch.setenv("STOCK_BOOK", str(tmp_path / "book.sqlite"))
    monkeypatch.setenv("STOCK_SETTINGS", str(tmp_path / "settings.toml"))
    monkeypatch.setenv("STOCK_CACHE", str(tmp_path / "cache"))
    return invoker(monkeypatch)


def invoker(monkeypatch: pytest.MonkeyPatch) -> Run:
    """Calls the door as a person does; the environment says which book."""

    def invoke(*words: str) -> Ran:
        monkeypatch.setattr(sys, "argv", ["stock", *words])
        out, err, code = io.StringIO(), io.StringIO(), 0
        with redirect_stdout(out), redirect_stderr(err):
            try:
                main()
            except SystemExit as stop:
                code = int(stop.code or 0)
        return Ran(code, out.getvalue(), err.getvalue())

    return invoke


SHOP = {
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
printer,slot,channel,feed,capacity,item,per_day_ml
P1,P1-C,C,cartridge,350 mL,INK-C,0
P1,P1-M,M,cartridge,350 mL,INK-M,0
P1,P1-Y,Y,cartridge,350 mL,INK-Y,0
P1,P1-K,K,cartridge,350 mL,INK-K,0
P1,P1-W,W,cartridge,700 mL,INK-W,0
""",
}


@pytest.fixture
def shop(run: Run, tmp_path: Path) -> Run:
    """The command line on a book that holds a small shop's catalogue."""
    for kind, text in SHOP.items():
        path = tmp_path / f"{kind}.csv"
        path.write_text(text, encoding="utf-8")
        ran = run("import", kind, str(path), "--on", "2026-03-02")
        assert ran.code == 0, ran.err
    return run


@pytest.fixture(scope="session")
def stocked_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a book: ink loaded, tees and pretreat on the shelf, order A1 of 24 dark tees.

    Built once through the command line; :func:`stocked` copies it.
    """
    from PIL import Image

    from stock.shop import open_book
    from stock.shop.loading import Load, load

    folder = tmp_path_factory.mktemp("stocked")
    Image.new("RGBA", (300, 300), (200, 40, 30, 255)).save(folder / "bear.png")
    files = dict(SHOP)
    files["items"] = files["items"].replace("365,180,1.15", "365,180,1.1")
    files["artworks"] = "artwork,file,title\nBEAR,bear.png,Bear\n"
    files["orders"] = (
        "order,line,stage,placed_on,due_on,blank,quantity,artwork,printer,location,width_cm\n"
        "A1,1,released,2026-03-02,2026-03-20,TEE-BLK-L,24,BEAR,P1,front,30\n"
    )
    address = str(folder / "book.sqlite")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("STOCK_BOOK", address)
        patch.setenv("STOCK_SETTINGS", str(folder / "settings.toml"))
        run = invoker(patch)
        for kind, text in files.items():
            path = folder / f"{kind}.csv"
            path.write_text(text, encoding="utf-8")
            ran = run("import", kind, str(path), "--on", "2026-03-02")
            assert ran.code == 0, ran.err
        for sku, packs in (("C", 1), ("M", 1), ("Y", 1), ("K", 1), ("W", 2)):
            words = ("receive", "--item", f"INK-{sku}", "--packs", str(packs), "--lot", f"{sku}-1")
            assert run(*words, "--expires", "2027-01-31", "--on", "2026-03-02").code == 0
        for sku, packs in (("PT", 1), ("TEE-BLK-L", 40)):
            words = ("receive", "--item", sku, "--packs", str(packs), "--lot", "L-1")
            assert run(*words, "--expires", "2026-12-31", "--on", "2026-03-02").code == 0
    book = open_book(address)
    for channel in "CMYKW":
        load(book, Load(f"P1-{channel}", date(2026, 3, 2), sku=f"INK-{channel}"))
    book.close()
    with sqlite3.connect(address) as plain:
        plain.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    plain.close()
    return folder


@pytest.fixture
def stocked(run: Run, stocked_folder: Path, tmp_path: Path) -> Run:
    """The command line on a copy of the book of :func:`stocked_folder`, its files beside it."""
    for name in ("book.sqlite", "bear.png"):
        shutil.copyfile(stocked_folder / name, tmp_path / name)
    return run


@pytest.fixture(scope="session")
def traded_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the book of a shop that traded for sixteen weeks (``trading``)."""
    from tests.commands.trading import SETTINGS, TODAY, trading_files

    folder = tmp_path_factory.mktemp("traded")
    (folder / "settings.toml").write_text(SETTINGS, encoding="utf-8")
    address = str(folder / "book.sqlite")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("STOCK_BOOK", address)
        patch.setenv("STOCK_SETTINGS", str(folder / "settings.toml"))
        run = invoker(patch)
        for kind, text in trading_files().items():
            path = folder / f"{kind}.csv"
            path.write_text(text, encoding="utf-8")
            ran = run("import", kind, str(path), "--on", TODAY.isoformat())
            assert ran.code == 0, ran.err
    with sqlite3.connect(address) as plain:
        plain.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    plain.close()
    return folder


@pytest.fixture
def traded(run: Run, traded_folder: Path, tmp_path: Path) -> Run:
    """The command line on a copy of the book of :func:`traded_folder`, its settings beside it."""
    for name in ("book.sqlite", "settings.toml"):
        shutil.copyfile(traded_folder / name, tmp_path / name)
    return run
