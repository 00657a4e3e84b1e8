"""Wall time from the shell: help, an everyday command, the demo's weekly list.

python -m tests.benchmarks.shell_speed
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.benchmarks.ratios import Ratio, compare, table

BARE = """
import typer
app = typer.Typer()
@app.command()
def one(name: str) -> None:
    "One."
@app.command()
def two(name: str) -> None:
    "Two."
app()
"""

STOCK = str(Path(sys.executable).with_name("stock"))


def _run(*words: str) -> None:
    subprocess.run(words, check=True, capture_output=True)


def rows() -> Iterator[Ratio]:
    """Help, receive, and the demo's list."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        bare = folder / "bare.py"
        bare.write_text(BARE)
        yield compare(
            "stock --help",
            "--help of a bare two-command typer app",
            lambda: _run(STOCK, "--help"),
            lambda: _run(sys.executable, str(bare), "--help"),
            1.6,
            repeats=9,
        )
        demo = folder / "demo"
        _run(STOCK, "demo", "--no-screen", "--dir", str(demo), "--json")
        book = str(demo / "book.sqlite")
        yield compare(
            "stock receive, one delivery",
            "import sqlalchemy, typer",
            lambda: _run(STOCK, "--book", book, "receive", "--item", "CART-K", "--packs", "1"),
            lambda: _run(sys.executable, "-c", "import sqlalchemy, typer"),
            2.0,
            repeats=9,
        )
        yield compare(
            "weekly list of the demo",
            "2 seconds (sleep)",
            lambda: _run(STOCK, "--book", book, "reorder"),
            lambda: _run("sleep", "2"),
            1.0,
            repeats=3,
        )


if __name__ == "__main__":
    print(table(rows()))
