"""Column maps are checked whole, each fault at its line."""

from pathlib import Path

import pytest

from stock.errors import InputFaults
from stock.exchange.column_map import load_map, parse_map
from stock.exchange.columns import KINDS

ORDERS = KINDS["orders"]


def test_every_fault_of_a_map_is_told_at_its_line():
    text = """
[file]
delimiter = "#"
dates = "american"
skip_lines = -1
colour = "red"
[columns]
ordr = "No."
[values]
stage = ["quote"]
[wrods]
x = 1
"""
    with pytest.raises(InputFaults) as caught:
        parse_map(text, ORDERS)
    told = {fault.column: fault for fault in caught.value.faults}
    assert told["file.delimiter"].line == 3
    assert told["file.dates"].expected == "one of 'dmy', 'mdy', 'ymd'"
    assert told["file.skip_lines"].line == 5
    assert told["file.colour"].line == 6
    assert told["columns.ordr"].expected.endswith("did you mean order?")
    assert told["values.stage"].found == "list"
    assert told["wrods"].line == 11


def test_what_is_no_toml_is_told_with_its_line():
    with pytest.raises(InputFaults) as caught:
        parse_map("[file]\ndates = dmy", ORDERS)
    assert caught.value.faults[0].line == 2


def test_a_column_fixed_and_renamed_at_once_is_refused():
    with pytest.raises(InputFaults, match="one of the two"):
        parse_map('[columns]\nstage = "S"\n[values]\nstage = "quote"', ORDERS)


def test_fixed_values_may_be_dates_numbers_and_answers():
    made = parse_map("[values]\nplaced_on = 2026-03-04\nline = 1\none_off = true", ORDERS)
    assert made.values == {"placed_on": "2026-03-04", "line": "1", "one_off": "yes"}


@pytest.mark.parametrize("content", [None, b"\xff\xfe\x00", b"[" * 100_000])
def test_a_map_that_cannot_be_read_is_one_fault(content: bytes | None, tmp_path: Path):
    path = tmp_path / "map.toml"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(InputFaults) as caught:
        load_map(path, ORDERS)
    assert len(caught.value.faults) == 1
    with pytest.raises(InputFaults, match="a directory"):
        load_map(tmp_path, ORDERS)
