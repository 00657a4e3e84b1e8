"""The manual: Markdown pages shipped with the program, read as they stand."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from importlib.resources import files
from typing import Final

from stock.errors import Refused

ORDER: Final = (
    "start",
    "week",
    "commands",
    "maths",
    "promises",
    "replay",
    "stations",
    "scale",
    "notebook",
    "units",
    "upgrading",
    "questions",
    "changes",
    "licences",
)
"""Pages in the order to read them; others come after."""


@dataclass(frozen=True, slots=True)
class Page:
    """One page: its topic (the file's name) and its title."""

    topic: str
    title: str


def pages() -> list[Page]:
    """All pages there are."""
    found = {
        entry.name.removesuffix(".md"): entry.read_text(encoding="utf-8")
        for entry in files("stock.guide").iterdir()
        if entry.name.endswith(".md")
    }
    ranked = sorted(found, key=lambda name: (ORDER.index(name) if name in ORDER else 99, name))
    return [Page(name, found[name].partition("\n")[0].lstrip("# ")) for name in ranked]


def page(topic: str) -> str:
    """A page's text.

    Raises:
        Refused: There is no such page; near misses are named.
    """
    known = [one.topic for one in pages()]
    if topic not in known:
        near = difflib.get_close_matches(topic, known, 3, 0.5) or known
        raise Refused(f"The guide has no page {topic!r}. Did you mean {', '.join(near)}?")
    return (files("stock.guide") / f"{topic}.md").read_text(encoding="utf-8")
