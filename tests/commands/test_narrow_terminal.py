"""Tables on a terminal of 80 columns: no code, date or amount is broken in two."""

from __future__ import annotations

import io
import sys
from datetime import date
from types import SimpleNamespace

import pytest
from rich.cells import cell_len
from rich.text import Text

from stock.commands.planning import print_expiring
from stock.commands.shared import show_table

ADVICE = "Load or use it first, before any newer lot; order no more of it until this is used."
HEAD = ("supplier", "item", "pack", "packs", "amount", "cost EUR", "order by", "runs out")
ROW = ("BRAMBLE", "TEE-FOR-XL", "BR-TEE-FOR-XL", 2, "1,200", "106.20", date(2026, 12, 3), "33%")


class Terminal(io.StringIO):
    """A standard output that says it is a terminal."""

    def isatty(self) -> bool:
        return True


@pytest.fixture
def terminal(monkeypatch):
    """A terminal of so many columns; what was written to it in lines, without bold and colours."""
    screen = Terminal()
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("NO_COLOR", "1")

    def of(columns: int) -> None:
        monkeypatch.setenv("COLUMNS", str(columns))
        monkeypatch.setattr(sys, "stdout", screen)

    of.lines = lambda: Text.from_ansi(screen.getvalue()).plain.splitlines()  # type: ignore[attr-defined]
    return of


def lot(code):
    return SimpleNamespace(
        effective_expiry=date(2026, 12, 5),
        days=9,
        item="CART-W",
        lot=code,
        place="SHELF",
        amount=1350.0,
        left_mean=1242.0,
        unit="mL",
        value_at_risk=12422.0,
        advice=ADVICE,
    )


def test_columns_move_together_before_a_code_is_broken(terminal):
    terminal(80)
    show_table(HEAD, [ROW], right=HEAD[3:6])
    lines = terminal.lines()
    assert all(cell_len(line) <= 80 for line in lines)
    (row,) = [line for line in lines if "BRAMBLE" in line]
    assert row.split() == [str(cell) for cell in ROW]
    assert any("cost" in line and "EUR" not in line for line in lines), "heads take two lines"


def test_where_there_is_room_heads_stay_on_one_line(terminal):
    terminal(120)
    show_table(HEAD, [ROW], right=HEAD[3:6])
    assert any("cost EUR" in line and "order by" in line for line in terminal.lines())


def test_advice_stands_below_the_lots_it_is_for(terminal):
    terminal(80)
    print_expiring([lot("CLW26310"), lot("CLW26311")])
    lines = terminal.lines()
    assert all(cell_len(line) <= 80 for line in lines)
    assert sum("2026-12-05" in line and "CLW263" in line for line in lines) == 2
    assert " ".join(" ".join(lines).split()).count(ADVICE) == 1
    assert "  CART-W CLW26310 at SHELF, CART-W CLW26311 at SHELF" in lines


def test_advice_stands_beside_its_lot_where_there_is_room(terminal):
    terminal(200)
    print_expiring([lot("CLW26310")])
    assert any("CLW26310" in line and ADVICE in line for line in terminal.lines())
