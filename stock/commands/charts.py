"""Whether a chart suits where the output goes."""

from __future__ import annotations

import os
import sys


def charts_shown() -> bool:
    """Whether a chart can be drawn: a terminal that nobody asked to be plain."""
    return (
        sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    )
