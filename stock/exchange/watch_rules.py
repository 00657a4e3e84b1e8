"""Which files in a watched folder are what: by rules of the shop's own, else by their names.

    [[file]]
    match = "jobs-*.csv"      # as in a file listing; upper and lower case are the same
    kind = "prints"           # a kind that `stock import` takes
    columns = "jobs.toml"     # the file's column map, beside this file; optional

Without rules a table whose name begins with a kind (``orders-monday.csv``) is of that kind.
Pictures are artwork. Everything else is left alone.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from fnmatch import fnmatch
from pathlib import Path
from typing import Any, Final

from stock.errors import Fault, InputFaults
from stock.exchange.columns import KINDS
from stock.exchange.safe_text import safe_text

RULES_FILE: Final = "watch.toml"
MAX_BYTES: Final = 1_000_000
PICTURES: Final = (".png", ".tif", ".tiff", ".jpg", ".jpeg", ".webp", ".psd", ".pdf")
TABLES: Final = (".csv", ".txt", ".tsv", ".xlsx")
ARTWORK: Final = "artwork"


@dataclass(frozen=True, slots=True)
class FileRule:
    """Files matching ``match`` are of ``kind``, read with the column map ``columns``."""

    match: str
    kind: str
    columns: Path | None = None


def what_is(path: Path, rules: Sequence[FileRule]) -> FileRule | None:
    """The rule for a file: the first that matches, else by its name; None: leave it alone.

    >>> what_is(Path("Orders-monday.csv"), ()).kind
    'orders'
    >>> what_is(Path("A1043-2 wolf.png"), ()).kind
    'artwork'
    """
    name = path.name.lower()
    if name.startswith((".", "~")) or name == RULES_FILE:
        return None
    for rule in rules:
        if fnmatch(name, rule.match.lower()):
            return rule
    if path.suffix.lower() in PICTURES:
        return FileRule(path.name, ARTWORK)
    if path.suffix.lower() in TABLES:
        for kind in sorted(KINDS, key=len, reverse=True):
            rest = name.removeprefix(kind)
            if rest != name and not rest[0].isalnum():
                return FileRule(path.name, kind)
    return None


def load_rules(path: Path) -> tuple[FileRule, ...]:
    """Rules from a TOML file; none when it is not there.

    Raises:
        InputFaults: Not TOML, or names that do not exist; all faults together.
    """
    try:
        if path.stat().st_size > MAX_BYTES:
            raise InputFaults(str(path), [Fault(0, "", "a file too large", "a short TOML file")])
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return ()
    except UnicodeError:
        raise InputFaults(
            str(path), [Fault(0, "", "text that is not UTF-8", "TOML in UTF-8")]
        ) from None
    try:
        raw = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        fault = Fault(0, "", safe_text(str(error), longest=120), "TOML")
        raise InputFaults(str(path), [fault]) from None
    return _checked(raw, path)


def _checked(raw: dict[str, Any], path: Path) -> tuple[FileRule, ...]:
    faults = [
        Fault(0, name, safe_text(name, longest=60), "[[file]] and nothing else")
        for name in raw
        if name != "file"
    ]
    listed = raw.get("file", [])
    if not isinstance(listed, list) or not all(isinstance(one, dict) for one in listed):
        faults.append(Fault(0, "file", "something else", "a list: [[file]]"))
        listed = []
    rules = []
    kinds = (*KINDS, ARTWORK)
    for number, one in enumerate(listed, 1):
        where = f"file {number}"
        before = len(faults)
        for key, value in one.items():
            if key not in ("match", "kind", "columns"):
                faults.append(Fault(0, where, safe_text(key), "match, kind, columns"))
            elif not isinstance(value, str) or not value:
                faults.append(Fault(0, f"{where}, {key}", type(value).__name__, "a text"))
        for key in ("match", "kind"):
            if key not in one:
                faults.append(Fault(0, where, f"no {key}", f"{key} = …"))
        if len(faults) == before and one["kind"] not in kinds:
            found = safe_text(one["kind"], longest=40)
            faults.append(Fault(0, f"{where}, kind", found, f"one of {', '.join(kinds)}"))
        if len(faults) > before:
            continue
        columns = path.parent / one["columns"] if "columns" in one else None
        if columns is not None and not columns.is_file():
            found = safe_text(one["columns"], longest=80)
            faults.append(Fault(0, f"{where}, columns", found, f"a file in {path.parent}"))
            continue
        rules.append(FileRule(one["match"], one["kind"], columns))
    if faults:
        raise InputFaults(str(path), faults)
    return tuple(rules)
