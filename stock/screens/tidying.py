"""Garbage is collected when nobody is typing.

A full collection looks at everything a large book's plan consists of: at 10,000 items it takes a
third of a second, in the middle of a key's work if Python chooses the moment (measured in
tests/benchmarks/screens_speed.py). So the app asks for it itself, after a pause.
"""

from __future__ import annotations

import gc
import time
from collections.abc import Callable

from textual.app import App

QUIET_SECONDS = 3.0
"""So long without a key before it is done."""
YOUNG = 20_000
"""Objects made before the newest are looked through: some milliseconds."""
ENOUGH = 10
"""Times the newest were looked through before it is worth to look at all."""
NEVER = 1_000_000


def tidy_when_idle(app: App[None], last_input: Callable[[], float]) -> None:
    """Collect on ``app``'s own timer from now on, never while keys come in.

    Args:
        last_input: When the last key or click came, in ``time.monotonic`` seconds.
    """
    gc.set_threshold(YOUNG, NEVER, NEVER)

    def tidy() -> None:
        idle = time.monotonic() - last_input()
        if idle >= QUIET_SECONDS and gc.get_count()[1] >= ENOUGH:
            gc.collect()

    app.set_interval(1.0, tidy)
