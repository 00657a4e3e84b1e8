"""The house keeps its walls: which way knowledge points, and what a light command may import."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def loaded_after(code: str) -> set[str]:
    """Top-level modules in a fresh interpreter after running ``code``."""
    script = f"import sys\n{code}\nprint(' '.join({{name.split('.')[0] for name in sys.modules}}))"
    ran = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=ROOT
    )
    return set(ran.stdout.split())


def test_import_contracts_hold():
    ran = subprocess.run(
        [str(Path(sys.executable).with_name("lint-imports")), "--no-cache"],
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout


@pytest.mark.parametrize("module", ["stock.ink.measure", "stock.demand.paths", "stock.plan.decide"])
def test_the_pure_part_loads_neither_database_nor_screen(module):
    loaded = loaded_after(f"import {module}")
    assert not loaded & {"sqlalchemy", "alembic", "textual", "typer"}


def test_help_loads_neither_frames_nor_forecasts_nor_database():
    loaded = loaded_after(
        "from typer.testing import CliRunner\n"
        "from stock.commands.app import app\n"
        "assert CliRunner().invoke(app, ['--help']).exit_code == 0"
    )
    assert not loaded & {"pandas", "numpy", "statsforecast", "sqlalchemy", "textual", "scipy"}


EVERYDAY = ["receive", "scan", "onhand", "load", "print"]


@pytest.mark.parametrize("command", EVERYDAY)
def test_everyday_commands_load_neither_pandas_nor_statsforecast(command, tmp_path):
    """Run for real on a small book, in one fresh interpreter."""
    loaded = loaded_after(
        f"""
from pathlib import Path
from typer.testing import CliRunner
from stock.commands.app import app
folder = Path({str(tmp_path)!r})
(folder / "suppliers.csv").write_text("code,lead_days\\nALDER,4\\n")
(folder / "items.csv").write_text(
    "sku,kind,channel,style,colour,size,shade\\nINK-K,ink,K,,,,\\nTEE,blank,,T,WHT,M,light\\n")
(folder / "packs.csv").write_text(
    "sku,supplier,code,amount,price\\nINK-K,ALDER,K1,350 mL,60\\nTEE,ALDER,T1,1,3\\n")
(folder / "printers.csv").write_text("printer,slot,channel,item\\nP1,P1-K,K,INK-K\\n")
(folder / "orders.csv").write_text(
    "order,line,placed_on,due_on,blank,quantity\\nA1,1,2026-03-02,2026-03-12,TEE,3\\n")
book = str(folder / "book.sqlite")
def run(*words):
    done = CliRunner().invoke(app, ["--book", book, *words])
    assert done.exit_code == 0, (words, done.output, done.exception)
for kind in ("suppliers", "items", "packs", "printers", "orders"):
    run("import", kind, str(folder / f"{{kind}}.csv"), "--on", "2026-03-02")
run("receive", "--item", "INK-K", "--packs", "2", "--lot", "L1", "--on", "2026-03-02")
run("receive", "--item", "TEE", "--packs", "9", "--on", "2026-03-02")
everyday = {{
    "receive": ("receive", "--item", "TEE", "--packs", "1", "--on", "2026-03-03"),
    "scan": ("scan", "(01)09521234543213(17)270501(10)W7731"),
    "onhand": ("onhand",),
    "load": ("load", "P1-K", "--item", "INK-K", "--on", "2026-03-03"),
    "print": ("print", "--order", "A1", "--line", "1", "--good", "3", "--on", "2026-03-04"),
}}
run(*everyday[{command!r}])
"""
    )
    assert not loaded & {"pandas", "statsforecast", "scipy", "textual", "numba"}


def test_every_package_folder_is_shipped():
    packages = set(
        tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]["packages"]
    )
    folders = {
        ".".join(init.parent.relative_to(ROOT).parts)
        for init in (ROOT / "stock").rglob("__init__.py")
    }
    assert folders | {"stock.migrations", "stock.migrations.versions", "stock.demo"} == packages
