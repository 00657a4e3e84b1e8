"""What a terminal without UTF-8 is shown: every sign that its encoding lacks as one plain letter.

Cells stay where they are: a sign of two cells becomes two letters.
"""

from __future__ import annotations

import os
import sys

from rich.cells import cell_len
from rich.segment import Segment
from textual.color import Color
from textual.filter import LineFilter

PLAIN = {
    **dict.fromkeys("‹", "<"),
    **dict.fromkeys("›▶⏵", ">"),
    **dict.fromkeys("…·•", "."),
    **dict.fromkeys("–—─━╌┄▔▁", "-"),
    **dict.fromkeys("│┃║▌▐▏▕┆┊", "|"),
    **dict.fromkeys("┌┐└┘├┤┬┴┼╭╮╰╯┏┓┗┛", "+"),
    **dict.fromkeys("✓", "v"),
    **dict.fromkeys("✗×", "x"),
    **dict.fromkeys("⚠", "!"),
    **dict.fromkeys("↑▲", "^"),
    **dict.fromkeys("↓▼", "v"),
    **dict.fromkeys("→", ">"),
    **dict.fromkeys("←", "<"),
    **dict.fromkeys("█▉▊▋▓■▇▆▅", "#"),
    **dict.fromkeys("▍▎▒░▄▃▂▀", "="),
}
"""What stands for signs of ours; anything else is a question mark."""


class PlainLetters(LineFilter):
    """Signs that ``encoding`` lacks, replaced cell by cell."""

    def __init__(self, encoding: str) -> None:
        super().__init__()
        self.encoding = encoding

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """The same line in letters the terminal has."""
        return [
            Segment(plain_letters(text, self.encoding), style, control)
            for text, style, control in segments
        ]


def plain_letters(text: str, encoding: str) -> str:
    """``text`` as ``encoding`` can write it, as wide as before.

    >>> plain_letters("›low … 4 – 5", "ascii"), plain_letters("Größe 5 µL", "latin-1")
    ('>low . 4 - 5', 'Größe 5 µL')
    >>> plain_letters("漢", "ascii")
    '??'
    """
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return "".join(_letter(sign, encoding) for sign in text)
    return text


def _letter(sign: str, encoding: str) -> str:
    try:
        sign.encode(encoding)
    except UnicodeEncodeError:
        return PLAIN.get(sign, "?" * cell_len(sign))
    return sign


def terminal_encoding() -> str:
    """What the screens are written in: a browser takes UTF-8, a terminal what its locale says."""
    if "TEXTUAL_DRIVER" in os.environ or sys.__stderr__ is None:
        return "utf-8"
    return sys.__stderr__.encoding or "utf-8"
