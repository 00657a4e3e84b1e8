"""An invented garment printer's files: two presses, eighteen months of orders, real pictures.

Everything here is made up. ``make_files(folder, day)`` writes what such a shop would have in its
folders (CSV and pictures), with dates that end on ``day``, so that the demo never goes stale.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np

from .artworks import draw_artworks
from .catalogue import write_catalogue
from .supply import write_supply
from .trade import make_orders, write_orders

SEED = 4127
HISTORY_DAYS = 546


def make_files(folder: Path, day: date) -> None:
    """Write every file of the shop into ``folder``."""
    folder.mkdir(parents=True, exist_ok=True)
    draws = np.random.default_rng(SEED)
    pictures = draw_artworks(folder / "artwork")
    write_catalogue(folder, day, pictures)
    orders = make_orders(draws, day, HISTORY_DAYS)
    write_orders(folder, day, orders, draws)
    write_supply(folder, day, orders, draws)
