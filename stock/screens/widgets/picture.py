"""A chart that is drawn, or told in text where the person prefers it or colours are off.

The chart library keeps one figure for the whole process: charts are drawn on the UI thread only.
"""

from __future__ import annotations

from collections.abc import Callable

from rich.text import Text
from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.widgets import Static

from stock.exchange.safe_text import safe_text
from stock.screens.work import shop_app

LEAST_HEIGHT, LEAST_WIDTH = 8, 40
"""Below so many cells a drawing tells nothing: the text is shown."""


class Picture(VerticalScroll, can_focus=False):
    """Draws itself anew for every size; text longer than its place is scrolled.

    Give it a drawing by width and height, and the same told in lines by width.
    """

    DEFAULT_CSS = """
    Picture { scrollbar-size-vertical: 1; overflow-x: hidden; }
    """

    def __init__(self, *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self._drawn: Callable[[int, int], str] | None = None
        self._told: Callable[[int], str] | None = None

    def compose(self) -> ComposeResult:
        """The drawing or the text."""
        yield Static("", markup=False)

    def show(self, drawn: Callable[[int, int], str], told: Callable[[int], str]) -> None:
        """Show this from now on."""
        self._drawn, self._told = drawn, told
        self.redraw()

    def clear(self) -> None:
        """Show nothing."""
        self._drawn = self._told = None
        self.query_one(Static).update("")

    def on_resize(self) -> None:
        """A new size, a new drawing."""
        self.redraw()

    def redraw(self) -> None:
        """Draw or tell in the present size."""
        width, height = self.size
        if self._drawn is None or self._told is None or width < 10:
            return
        shown = self.query_one(Static)
        if shop_app(self).text_charts or height < LEAST_HEIGHT or width < LEAST_WIDTH:
            lines = [safe_text(line) for line in self._told(width - 1).splitlines()]
            self.can_focus = len(lines) > height
            self.styles.overflow_y = "auto"
            shown.update("\n".join(lines))
        else:
            self.can_focus = False
            self.styles.overflow_y = "hidden"
            shown.update(Text.from_ansi(self._drawn(width, height).rstrip("\n")))
