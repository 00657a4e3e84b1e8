"""A small shop in which everything was once done: what faults are tried on.

Tanks and cartridges, opened and quarantined goods, a mix, a customer's garments, an order half
printed, a purchase on the way. Built through the command line, so that a book of it is what a
shop's would be; all names are invented.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

import pytest
from sqlalchemy import URL, Engine

DAY = "2026-03-09"
GTIN = "09521234543213"

FILES = {
    "suppliers": "code,lead_days,order_days\nALDER,4,\nBRAMBLE,2,\n",
    "items": """\
sku,kind,channel,style,colour,size,shade,shelf_life_days,open_life_days,density_g_per_ml,mixed_from,mix_ratio,mix_life_days,every_prints,amount_per_service,unit
INK-C,ink,C,,,,,365,180,1.07,,,,,,
INK-M,ink,M,,,,,365,180,1.07,,,,,,
INK-Y,ink,Y,,,,,365,180,1.07,,,,,,
INK-K,ink,K,,,,,365,180,1.07,,,,,,
INK-W,ink,W,,,,,365,180,1.15,,,,,,
PT-CONC,pretreat,,,,,,365,180,,,,,,,
PT,pretreat,,,,,,30,30,,PT-CONC,1,30,,,
WIPER,supply,,,,,,,,,,,,500,1,each
TEE-BLK-L,blank,,TEE,BLK,L,dark,,,,,,,,,
TEE-WHT-L,blank,,TEE,WHT,L,light,,,,,,,,,
""",
    "packs": """\
sku,supplier,code,amount,price,gtin,tare_g
INK-C,ALDER,C350,350 mL,62,,90
INK-M,ALDER,M350,350 mL,62,,90
INK-Y,ALDER,Y350,350 mL,62,,90
INK-K,ALDER,K350,350 mL,62,,90
INK-W,ALDER,W1800,1.8 L,189,09521234543213,120
PT-CONC,ALDER,PTC5,5 kg,68,,
WIPER,ALDER,WP1,1,9,,
TEE-BLK-L,BRAMBLE,TBL,1,3.10,,
TEE-WHT-L,BRAMBLE,TWL,1,2.80,,
""",
    "printers": """\
printer,slot,channel,feed,capacity,item,per_day_ml,per_print_ml
P1,P1-C,C,cartridge,350 mL,INK-C,0.1,0
P1,P1-M,M,cartridge,350 mL,INK-M,0.1,0
P1,P1-Y,Y,cartridge,350 mL,INK-Y,0.1,0
P1,P1-K,K,cartridge,350 mL,INK-K,0.1,0
P1,P1-W,W,tank,3 L,INK-W,2,0.05
""",
    "artworks": "artwork,file,title\nBEAR,bear.png,Bear\n",
    "orders": """\
order,line,stage,placed_on,due_on,blank,quantity,artwork,printer,location,width_cm
A1,1,released,2026-03-02,2026-03-20,TEE-BLK-L,24,BEAR,P1,front,30
A1,2,released,2026-03-02,2026-03-20,TEE-WHT-L,12,BEAR,P1,front,20
A2,1,quote,2026-03-02,2026-04-02,TEE-BLK-L,40,BEAR,P1,front,30
""",
    "deliveries": """\
delivery,sku,packs,lot,expires,received_on
D1,INK-C,3,C-1,2027-01-31,2026-03-02
D1,INK-M,3,M-1,2027-01-31,2026-03-02
D1,INK-Y,3,Y-1,2026-05-31,2026-03-02
D1,INK-K,3,K-1,2027-01-31,2026-03-02
D1,INK-W,4,W-1,2027-01-31,2026-03-02
D1,INK-W,2,W-2,2027-03-31,2026-03-02
D1,PT-CONC,2,PC-1,2026-12-31,2026-03-02
D1,WIPER,20,WP-1,,2026-03-02
D2,TEE-BLK-L,60,T-1,,2026-03-02
D2,TEE-WHT-L,40,T-2,,2026-03-02
D3,INK-K,1,K-OLD,2026-03-05,2026-03-02
""",
    "purchases": """\
purchase,supplier,ordered_on,code,sku,packs,price,promised_on,state
P-88,ALDER,2026-03-04,W1800,,2,189.00,2026-03-12,sent
P-89,BRAMBLE,2026-03-04,TBL,,100,3.10,2026-03-10,draft
""",
}
"""CSV files by kind, in the order they are imported."""

MORE_FILES = {
    "modes": "code,passes_W\nstandard,2\n",
    "prints": "order,line,printed_on,good,misprints,printer,ref\nA1,1,2026-03-09,3,0,P1,R-1\n",
    "counts": "place,sku,lot,counted,counted_on,ref\nSHELF,TEE-WHT-L,T-2,38,2026-03-09,S-1\n",
    "weighings": "slot,container,grams,weighed_on,ref\nP1-C,,300,2026-03-09,W-1\n",
    "jobink": "job,printed_on,printer,order,line,pieces,C,M,Y,K,W\n"
    "J-1,2026-03-09,P1,A1,1,3,1,1,1,1,12\n",
}
"""CSV files by kind that come later in the day; not imported by :func:`build_floor`."""

DONE_BEFORE = (
    "load P1-C --item INK-C",
    "load P1-M --item INK-M",
    "load P1-Y --item INK-Y",
    "load P1-K --item INK-K --lot K-1",
    "load P1-W --item INK-W",
    "open PT-CONC",
    "mix PT --amount 4kg",
    "receive --item TEE-BLK-L --packs 6 --lot CU-1 --owner OWL",
    "quarantine --item INK-M --lot M-1 --amount 350mL --reason frozen",
    "print --order A1 --line 1 --good 4 --misprints 1",
)


@dataclass(frozen=True)
class Said:
    """What one command answered; a code of its own for what no command may do."""

    code: int
    out: str
    err: str


@contextmanager
def _books_closed() -> Iterator[None]:
    """Close what a command left open: its process would have ended."""
    from stock.book import opening

    made: list[Engine] = []
    real = opening.engine_for

    def noted(url: URL) -> Engine:
        made.append(real(url))
        return made[-1]

    opening.engine_for = noted
    try:
        yield
    finally:
        opening.engine_for = real
        for engine in made:
            engine.dispose()


def call(*words: str) -> Said:
    """Run the command line in this process through its own door.

    Everything but an exit is let through: a test sees it as the fault it is.
    """
    from stock.commands.app import main

    before, sys.argv = sys.argv, ["stock", *words]
    out, err, code = io.StringIO(), io.StringIO(), 0
    try:
        with _books_closed(), redirect_stdout(out), redirect_stderr(err):
            try:
                main()
            except SystemExit as stop:
                code = stop.code if isinstance(stop.code, int) else 0 if stop.code is None else 99
    finally:
        sys.argv = before
    return Said(code, out.getvalue(), err.getvalue())


@contextmanager
def at_station(folder: Path, book: str) -> Iterator[None]:
    """The environment of a station that keeps ``book`` and its settings in ``folder``."""
    with pytest.MonkeyPatch.context() as patch:
        for name, value in station_variables(folder, book).items():
            patch.setenv(name, value)
        yield


def station_variables(folder: Path, book: str) -> Mapping[str, str]:
    """Environment variables that keep a station's files in ``folder``."""
    return {
        "STOCK_BOOK": book,
        "STOCK_SETTINGS": str(folder / "settings.toml"),
        "XDG_DATA_HOME": str(folder / "data"),
        "XDG_CONFIG_HOME": str(folder / "config"),
    }


def write_files(folder: Path) -> None:
    """The shop's files, its artwork and its settings."""
    from PIL import Image

    Image.new("RGBA", (200, 200), (200, 40, 30, 255)).save(folder / "bear.png")
    for kind, text in {**FILES, **MORE_FILES}.items():
        (folder / f"{kind}.csv").write_text(text, encoding="utf-8")
    (folder / "settings.toml").write_text("[plan]\npaths = 100\nautoets = false\n")
    (folder / "history.csv").write_text(
        "unique_id,ds,y\n" + "".join(f"TEE,2025-{m:02d}-03,{m}\n" for m in range(1, 13))
    )


def build_floor(folder: Path, book: str) -> None:
    """Make the book at ``book`` (a path or URL) and do everything once."""
    write_files(folder)
    with at_station(folder, book):
        made = [("start",)]
        made += [("import", kind, str(folder / f"{kind}.csv"), "--on", DAY) for kind in FILES]
        made += [(*line.split(), "--on", DAY) for line in DONE_BEFORE]
        for words in made:
            said = call(*words)
            assert said.code == 0, f"{words}: {said.err}"
    _second_shelf(book)


def _second_shelf(where: str) -> None:
    """A shelf to carry goods to, written into the book's own table."""
    from sqlalchemy import insert

    from stock.book.opening import open_book
    from stock.book.tables import place

    book = open_book(where)
    book.write(lambda link: link.execute(insert(place), {"code": "SHELF-2", "kind": "shelf"}))
    book.close()


def settle(path: Path) -> None:
    """Bring all of an SQLite book into its one file, so that it can be copied."""
    import sqlite3

    with sqlite3.connect(path) as plain:
        plain.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    plain.close()
