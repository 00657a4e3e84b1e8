"""What is built is what is there: packages, data files, entry point, bounds."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
SETUPTOOLS = PROJECT["tool"]["setuptools"]


def packages_there() -> set[str]:
    """Packages by the folders that exist, under the names they are installed as."""
    found = set()
    for top, name in (
        ("stock", "stock"),
        ("migrations", "stock.migrations"),
        ("demo", "stock.demo"),
    ):
        for init in (ROOT / top).rglob("__init__.py"):
            parts = init.parent.relative_to(ROOT / top).parts
            found.add(".".join((name, *parts)))
    return found


def test_every_package_folder_is_listed_for_the_build_and_nothing_else():
    listed = SETUPTOOLS["packages"]
    assert len(listed) == len(set(listed))
    assert set(listed) == packages_there()


def test_every_folder_with_modules_is_a_package():
    for top in ("stock", "migrations", "demo"):
        for module in (ROOT / top).rglob("*.py"):
            assert (module.parent / "__init__.py").exists(), module


def test_every_data_file_beside_the_code_is_shipped():
    shipped: set[Path] = set()
    for package, patterns in SETUPTOOLS["package-data"].items():
        folder = ROOT / SETUPTOOLS["package-dir"].get(package, package.replace(".", "/"))
        for pattern in patterns:
            shipped |= set(folder.glob(pattern))
    for path in (ROOT / "stock").rglob("*"):
        if path.is_file() and path.suffix not in (".py", ".pyc"):
            assert path in shipped, path


def test_every_dependency_has_a_lower_bound_and_no_name_stands_twice():
    groups = [PROJECT["project"]["dependencies"]]
    groups += PROJECT["project"]["optional-dependencies"].values()
    for group in groups:
        names = [re.split(r"[\[<>=~!; ]", text)[0].lower() for text in group]
        assert len(names) == len(set(names))
        for text in group:
            assert text.startswith("stock[") or ">=" in text, text


def test_the_command_is_the_door_that_turns_errors_into_sentences():
    assert PROJECT["project"]["scripts"] == {"stock": "stock.commands.app:main"}
