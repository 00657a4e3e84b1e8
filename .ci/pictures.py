"""Two pictures of a terminal compared by what a person sees: words, numbers, colours, cell by cell.

Numbers come out of fits and drawn paths, and another processor or another release of a library may
move their last digit; a colour blended by another release may be off by one. So words must be
equal, numbers near, colours nearly so; where the libraries that work out or draw are not those
a picture was made with, only its frame is compared: names of screens, heads, labels and keys.
"""

from __future__ import annotations

import re
import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from importlib.metadata import version
from xml.etree import ElementTree

CELL = (12.2, 24.4)
"""Width and height of a cell in the units of the picture."""
LIBRARIES = (
    *("numpy", "scipy", "pandas", "statsforecast", "holidays", "pillow", "pyvips"),
    *("textual", "rich", "plotext"),
)
NEAR_SHARE, NEAR_DIGITS, NEAR_DAYS = 0.02, 1.0, 7
"""How far a number may be from the one kept: relative, or in units of its last digit; a date."""
FAR_NUMBERS = 0.05
"""Share of a picture's numbers that may be farther: a pack more, another week."""
NEAR_COLOUR = 4
"""Steps of 255 a channel of a colour may be off."""
HEAD_LINES = 3
"""Names of screens, the sentence below them, the heads of columns."""

TOKEN = re.compile(r"\d{4}-\d{2}-\d{2}|\d\d-\d\d\b|\d[\d,]*(?:\.\d+)?|[^\W\d_]+|[^\w\s]|_")
DRAWN = re.compile(r"[─-▟⠀-⣿·░▒▓▔▕\s]+")
"""Lines, blocks and dots of charts, gauges and scroll bars: they are numbers, drawn."""

Colour = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Word:
    """A word or a number, and how it is set."""

    text: str
    line: int
    colour: Colour
    ground: Colour | None
    bold: bool


def versions() -> str:
    """What the numbers and the letters come from here."""
    python = f"python {sys.version_info.major}.{sys.version_info.minor}"
    return ", ".join([python, *(f"{name} {version(name)}" for name in LIBRARIES)])


def made_with(svg: str) -> str:
    """What a picture says it was made with."""
    found = re.search(r"<!-- made with (.*?) -->", svg)
    return found[1] if found else ""


def words(svg: str) -> list[Word]:
    """Every word and number of a picture with its colours, line by line."""
    root = ElementTree.fromstring(svg)
    spaced = "{http://www.w3.org/2000/svg}"
    sheet = "".join(node.text or "" for node in root.iter(f"{spaced}style"))
    styles = dict(re.findall(r"\.([\w-]+-r\d+) \{([^}]*)\}", sheet))
    grounds = list(_grounds(root.iter(f"{spaced}rect")))
    found = []
    for node in root.iter(f"{spaced}text"):
        style = styles.get(node.get("class", ""))
        if style is None:
            continue
        left, line = float(node.get("x", 0)), round(float(node.get("y", 0)) / CELL[1])
        text = (node.text or "").replace("\xa0", " ")
        for part in TOKEN.finditer(text):
            if DRAWN.fullmatch(part[0]):
                continue
            place = left + (part.start() + 0.5) * CELL[0]
            ground = next(
                (
                    colour
                    for start, end, at, colour in reversed(grounds)
                    if at == line and start <= place < end
                ),
                None,
            )
            colour = re.search(r"fill: (#\w{6})", style)
            found.append(
                Word(
                    part[0],
                    line,
                    _colour(colour[1] if colour else "#000000"),
                    ground,
                    "font-weight: bold" in style,
                )
            )
    return found


def _grounds(
    rects: Iterable[ElementTree.Element],
) -> Iterator[tuple[float, float, int, Colour]]:
    for rect in rects:
        fill = rect.get("fill", "")
        if re.fullmatch(r"#\w{6}", fill) and rect.get("stroke") is None and rect.get("x"):
            left, top = float(rect.get("x", 0)), float(rect.get("y", 0))
            line = round((top - 1.5) / CELL[1]) + 1
            yield left, left + float(rect.get("width", 0)), line, _colour(fill)


def _colour(text: str) -> Colour:
    return int(text[1:3], 16), int(text[3:5], 16), int(text[5:7], 16)


def differences(kept: str, now: str) -> list[str]:
    """What of ``now`` is not as in ``kept``, in sentences; empty: the same picture."""
    old, new = words(kept), words(now)
    before, after = by_line(old), by_line(new)
    same_words = Counter(shape(word.text) for word in old) == Counter(
        shape(word.text) for word in new
    )
    last = max((*before, *after), default=0)
    found: list[str] = []
    far: list[str] = []
    for line in sorted(before.keys() | after.keys()):
        olds, news = before.get(line, []), after.get(line, [])
        if [shape(word.text) for word in olds] != [shape(word.text) for word in news]:
            # A number one digit longer wraps a paragraph elsewhere; head and keys stand fast.
            if not same_words or not HEAD_LINES < line < last:
                found.append(f"line {line}\n  kept: {spoken(olds)}\n  now:  {spoken(news)}")
            continue
        for one, other in zip(olds, news, strict=True):
            if one.text[0].isdigit() and not near(one.text, other.text):
                far.append(f"line {line}: kept {one.text}, now {other.text}")
            if one.bold != other.bold or not _alike(one.colour, other.colour):
                found.append(f"line {line}: {one.text!r} is set in another colour or weight")
            elif not _alike(one.ground, other.ground):
                found.append(f"line {line}: {one.text!r} stands on another ground")
    if len(far) > FAR_NUMBERS * sum(word.text[0].isdigit() for word in old):
        found += far
    return found


def by_line(found: Iterable[Word]) -> dict[int, list[Word]]:
    """Words by line."""
    lines: dict[int, list[Word]] = {}
    for word in found:
        lines.setdefault(word.line, []).append(word)
    return lines


def spoken(found: Iterable[Word]) -> str:
    """Words as a line of text."""
    return " ".join(word.text for word in found)


def shape(text: str) -> str:
    """A word as it is; a date or a number as such."""
    if re.fullmatch(r"\d{4}-\d\d-\d\d|\d\d-\d\d", text):
        return "date"
    return "number" if text[0].isdigit() else text


def near(one: str, other: str) -> bool:
    """Whether two numbers, or two dates, are as good as the same."""
    if one == other:
        return True
    if shape(one) == "date":
        days = [
            date.fromisoformat(text if len(text) > 5 else f"2024-{text}") for text in (one, other)
        ]
        return abs((days[0] - days[1]).days) <= NEAR_DAYS
    values = [float(text.replace(",", "")) for text in (one, other)]
    last = 10.0 ** -len(one.partition(".")[2])
    gap = abs(values[0] - values[1])
    return gap <= NEAR_DIGITS * last * 1.0001 or gap <= NEAR_SHARE * max(map(abs, values))


def _alike(one: Colour | None, other: Colour | None) -> bool:
    if one is None or other is None:
        return one is other
    return all(abs(a - b) <= NEAR_COLOUR for a, b in zip(one, other, strict=True))


def missing(kept: str, frame: Iterable[str]) -> list[str]:
    """Texts of a screen's frame that a picture does not show."""
    shown = " ".join(spoken(line) for line in by_line(words(kept)).values())
    return [
        f"{text!r} is not in it" for text in frame if " ".join(TOKEN.findall(text)) not in shown
    ]
