"""Text that came from outside, made harmless: for terminals, for spreadsheets, for codes.

A lot code with an escape sequence must not move the cursor, a name that begins with ``=`` must
not run in a spreadsheet, and a code must not look like another one by invisible or foreign
characters. Nothing here knows what the text means.
"""

from __future__ import annotations

import re
import unicodedata
from typing import Final

_JOINERS: Final = "\u200c\u200d"
"""Zero-width (non-)joiner: parts of words and of emoji in names, never of codes."""

_SCRIPTS: Final = ("LATIN", "CYRILLIC", "GREEK", "ARMENIAN", "CHEROKEE")
"""Scripts whose letters look alike; a code of two of them is refused."""

_FORMULA_START: Final = (
    "=",
    "+",
    "-",
    "@",
    "\t",
    "\r",
    "\n",
    "\uff1d",
    "\uff0b",
    "\uff0d",
    "\uff20",
)
_PLAIN_NUMBER: Final = re.compile(r"[+-]?\d+(?:[.,]\d+)*%?")


def safe_text(text: str, *, longest: int = 0) -> str:
    r"""``text`` with every character that could steer a terminal shown instead of obeyed.

    Control characters become their pictures, direction marks and other invisible ones their
    number; ``longest`` > 0 cuts with an ellipsis.

    >>> safe_text("LOT\x1b[2J")
    'LOT␛[2J'
    >>> safe_text("abc\u202edef")
    'abc⟨U+202E⟩def'
    """
    if not text.isprintable():
        text = "".join(_shown(c) for c in text)
    if longest and len(text) > longest:
        return text[: longest - 1] + "…"
    return text


def _shown(c: str) -> str:
    if c.isprintable() or c in _JOINERS:
        return c
    number = ord(c)
    if number < 0x20:
        return chr(0x2400 + number)
    if number == 0x7F:
        return "\u2421"
    if unicodedata.category(c) == "Zs":
        return " "
    return f"⟨U+{number:04X}⟩"


def formula_safe(text: str) -> str:
    """``text`` so that a spreadsheet that opens it takes it for text, not for a formula.

    An apostrophe is put before what would start a formula; plain numbers stay as they are.

    >>> formula_safe("=HYPERLINK(1)"), formula_safe("-12.5"), formula_safe("+cmd|x")
    ("'=HYPERLINK(1)", '-12.5', "'+cmd|x")
    """
    start = text.lstrip("'").lstrip(" \u00a0")
    if start.startswith(_FORMULA_START) and not _PLAIN_NUMBER.fullmatch(text):
        return "'" + text
    return text


def tidy(text: str) -> str:
    """Surrounding and repeated white space taken out, accents in their composed form."""
    if text.isascii():
        return " ".join(text.split(" ")).strip() if "  " not in text else " ".join(text.split())
    return " ".join(unicodedata.normalize("NFC", text).replace("\u00a0", " ").split())


def trouble_in_text(text: str) -> str:
    """Why a name or note is refused, or an empty string.

    >>> trouble_in_text("Ring-spun tee"), trouble_in_text("a\x07b")
    ('', 'the control character U+0007')
    """
    if text.isprintable():
        return ""
    for c in text:
        if c.isprintable() or c in _JOINERS or unicodedata.category(c) == "Zs":
            continue
        kind = "control" if unicodedata.category(c) == "Cc" else "invisible"
        return f"the {kind} character U+{ord(c):04X}"
    return ""


def trouble_in_code(code: str) -> str:
    """Why a code is refused, or an empty string: invisible, look-alike or mixed characters.

    >>> trouble_in_code("WHT-18L"), trouble_in_code("\u0410B-1")
    ('', 'letters of two alphabets (Cyrillic and Latin)')
    """
    if code.isascii() and code.isprintable():
        return ""
    for c in code:
        if c in _JOINERS or unicodedata.category(c) in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"):
            return f"the invisible character U+{ord(c):04X}"
    plain = unicodedata.normalize("NFKC", code)
    if plain != code:
        return f"characters that only look like {plain!r}"
    scripts = sorted({script for c in code if (script := _script(c))})
    if len(scripts) > 1:
        return f"letters of two alphabets ({scripts[0].title()} and {scripts[1].title()})"
    return ""


def _script(c: str) -> str:
    if not c.isalpha():
        return ""
    name = unicodedata.name(c, "")
    return next((script for script in _SCRIPTS if name.startswith(script)), "")
