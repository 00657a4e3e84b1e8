"""Codes of the shop's own things inside GS1 symbols: application identifier (91), letter, code.

Shelves, slots and opened containers have no GTIN. Their labels carry ``(91)P:SHELF-1``, company
internal information by the GS1 General Specifications, so that the same scanner path reads them
and no supplier's code is mistaken for one: only our letters and their colon are taken.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final, Literal
from urllib.parse import quote, unquote_to_bytes

AI: Final = "91"
OwnKind = Literal["place", "container", "item"]
_LETTERS: Final[dict[OwnKind, str]] = {"place": "P", "container": "C", "item": "I"}
_KINDS: Final = {letter: kind for kind, letter in _LETTERS.items()}
_LONGEST: Final = 90
_PLAIN: Final = "!\"&'()*+,-./:;<=>?_"
"""Characters besides letters and digits that GS1 data has, save the per cent sign."""


@dataclass(frozen=True, slots=True)
class OwnCode:
    """A thing of the shop: a place (shelf or slot), a container or an item, and its code."""

    kind: OwnKind
    code: str


def write_own(own: OwnCode) -> str:
    """The value of field (91); characters that GS1 data does not have are per cent encoded.

    Raises:
        ValueError: Longer than the field's 90 characters.

    >>> write_own(OwnCode("place", "SHELF 1"))
    'P:SHELF%201'
    """
    value = f"{_LETTERS[own.kind]}:{quote(own.code, safe=_PLAIN)}".replace("~", "%7E")
    if len(value) > _LONGEST:
        raise ValueError(f"{own.code!r} is too long for a label's code")
    return value


def read_own(value: str) -> OwnCode | None:
    """What :func:`write_own` wrote, or None for any other use of the field."""
    match = re.fullmatch(r"([A-Z]):(.+)", value)
    if match is None or match[1] not in _KINDS:
        return None
    try:
        code = unquote_to_bytes(match[2]).decode()
    except UnicodeDecodeError:
        return None
    return OwnCode(_KINDS[match[1]], code)
