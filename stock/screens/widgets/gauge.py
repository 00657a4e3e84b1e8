"""How full a slot is, as a bar, in per cent, and how sure that is; legible without colour."""

from __future__ import annotations

FULL, UNSURE, EMPTY = "█", "▒", "·"


def gauge(share: float, unsure: float = 0.0, width: int = 12) -> str:
    """A bar: ``█`` surely there, ``▒`` perhaps there, ``·`` empty.

    Args:
        share: How full, 0 to 1.
        unsure: One standard deviation of it.

    >>> gauge(0.5, 0.0, 10), gauge(0.5, 0.1, 10)
    ('█████·····', '████▒▒····')
    """
    sure = max(0.0, min(1.0, share - unsure))
    perhaps = max(0.0, min(1.0, share + unsure))
    full, reaches = round(sure * width), round(perhaps * width)
    if share > 0 and reaches == 0:
        reaches = full = 1
    return FULL * full + UNSURE * (reaches - full) + EMPTY * (width - reaches)
