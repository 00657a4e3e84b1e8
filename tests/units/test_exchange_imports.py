"""What a light command pays for importing the exchange: nothing heavy."""

import subprocess
import sys

import pytest

HEAVY = (
    "biip",
    "openpyxl",
    "fpdf",
    "icalendar",
    "pystrich",
    "PIL",
    "pandas",
    "numpy",
    "sqlalchemy",
)


@pytest.mark.parametrize(
    "module", ["barcodes", "rows", "columns", "tables", "reports", "pages", "labels", "mail_files",
               "calendar_files", "spreadsheets", "label_sheets"]
)  # fmt: skip
def test_importing_a_part_of_the_exchange_imports_nothing_heavy(module: str):
    code = (
        f"import sys, stock.exchange.{module}; "
        f"print([name for name in {HEAVY!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
