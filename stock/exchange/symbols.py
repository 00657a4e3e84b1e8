"""GS1 DataMatrix and GS1-128 symbols as dark rectangles, in modules; an encoder draws them.

A module is the smallest square or bar width. Quiet zones are the caller's: two modules around a
DataMatrix, ten beside a GS1-128 (GS1 General Specifications 5).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, Literal

from stock.exchange.labels import FREE_LENGTH, Fields

SymbolKind = Literal["datamatrix", "gs1-128"]
QUIET_MODULES: Final[dict[SymbolKind, int]] = {"datamatrix": 2, "gs1-128": 10}
LONGEST_GS1_128: Final = 48
"""Most data characters of one GS1-128 symbol (GS1 General Specifications 5.4)."""


@dataclass(frozen=True, slots=True)
class Symbol:
    """Dark runs of a symbol.

    Args:
        columns: Width in modules.
        rows: Height in modules; 1 for bars, which are drawn as high as there is room.
        runs: (row, first column, length) of each dark run.
    """

    columns: int
    rows: int
    runs: tuple[tuple[int, int, int], ...]


def draw_symbol(kind: SymbolKind, fields: Fields) -> Symbol:
    """The fields as a symbol of that kind.

    Raises:
        ValueError: More data than the symbol may hold.
    """
    return _data_matrix(fields) if kind == "datamatrix" else _bars(fields)


def _data_matrix(fields: Fields) -> Symbol:
    from pystrich.datamatrix import DataMatrixData, DataMatrixEncoder

    encoder = DataMatrixEncoder(DataMatrixData.gs1(*_wrapped(fields)), quiet_zone=0)
    matrix = encoder.init_renderer().matrix
    runs: list[tuple[int, int, int]] = []
    for row, cells in enumerate(matrix):
        runs.extend((row, start, length) for start, length in _runs(bool(c) for c in cells))
    return Symbol(len(matrix[0]), len(matrix), tuple(runs))


def _bars(fields: Fields) -> Symbol:
    from pystrich.code128 import Code128Data, Code128Encoder

    length = sum(len(ai) + len(value) for ai, value in fields)
    if length > LONGEST_GS1_128:
        raise ValueError(f"GS1-128 holds {LONGEST_GS1_128} characters, these are {length}")
    bars = Code128Encoder(Code128Data.gs1(*_wrapped(fields))).bars
    return Symbol(len(bars), 1, tuple((0, *run) for run in _runs(c == "1" for c in bars)))


def _wrapped(fields: Fields) -> list[Any]:
    from pystrich.gs1 import GS1Fixed, GS1Variable

    return [(GS1Variable if ai in FREE_LENGTH else GS1Fixed)(ai, value) for ai, value in fields]


def _runs(cells: Any) -> list[tuple[int, int]]:
    runs: list[tuple[int, int]] = []
    start = -1
    place = -1
    for place, dark in enumerate(cells):
        if dark and start < 0:
            start = place
        elif not dark and start >= 0:
            runs.append((start, place - start))
            start = -1
    if start >= 0:
        runs.append((start, place + 1 - start))
    return runs
