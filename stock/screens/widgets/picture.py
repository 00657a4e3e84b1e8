"""A chart that is drawn, or told in text where the person prefers it or colours are off.

The chart library keeps one figure for the whole process: charts are drawn on the UI thread only.
"""

from __future__ import annotations

from collections.abc import Callable

from rich.text import Text
from textual.widgets import Static

from stock.exchange.safe_text import safe_text
from stock.screens.work import shop_app


class Picture(Static):
    """Draws itself anew for every size.

    Give it a drawing by width and height, and the same told in lines by width.
    """

    def __init__(self, *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__("", id=id, classes=classes, markup=False)
        self._drawn: Callable[[int, int], str] | None = None
        self._told: Callable[[int], str] | None = None

    def show(self, drawn: Callable[[int, int], str], told: Callable[[int], str]) -> None:
        """Show this from now on."""
        self._drawn, self._told = drawn, told
        self.redraw()

    def clear(self) -> None:
        """Show nothing."""
        self._drawn = self._told = None
        self.update("")

    def on_resize(self) -> None:
        """A new size, a new drawing."""
        self.redraw()

    def redraw(self) -> None:
        """Draw or tell in the present size."""
        width, height = self.size
        if self._drawn is None or self._told is None or width < 10:
            return
        if shop_app(self).text_charts or height < 8 or width < 40:
            told = self._told(width)
            self.update("\n".join(safe_text(line) for line in told.splitlines()))
        else:
            self.update(Text.from_ansi(self._drawn(width, height)))
