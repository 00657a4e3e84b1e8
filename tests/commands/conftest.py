"""Running the real command line in this process: words in, text and exit code out."""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
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
sku,kind,channel,style,colour,size,shade,shelf_life_days,open_life_days
INK-C,ink,C,,,,,365,180
INK-M,ink,M,,,,,365,180
INK-Y,ink,Y,,,,,365,180
INK-K,ink,K,,,,,365,180
INK-W,ink,W,,,,,365,180
PT,pretreat,,,,,,365,180
TEE-BLK-L,blank,,TEE,BLK,L,dark,,
TEE-WHT-L,blank,,TEE,WHT,L,light,,
""",
    "packs": """\
sku,supplier,code,amount,price,gtin
INK-C,ALDER,C350,350 mL,62,
INK-M,ALDER,M350,350 mL,62,
INK-Y,ALDER,Y350,350 mL,62,
INK-K,ALDER,K350,350 mL,62,
INK-W,ALDER,W700,700 mL,104,09521234543213
PT,ALDER,PT5,5 kg,68,
TEE-BLK-L,BRAMBLE,TBL,1,3.10,
TEE-WHT-L,BRAMBLE,TWL,1,2.80,
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
