"""Which item an unknown barcode belongs to, asked once; codes scanned meanwhile are kept."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from textual import on
from textual.widgets import Input

from stock.screens.dialogs import Field, Form, needed
from stock.screens.receive_codes import like_a_code

if TYPE_CHECKING:
    from stock.shop import Book


class TieForm(Form):
    """Ties a GTIN to a pack; answers with the pack's code.

    Args:
        gtin: The unknown one.
        skus: Items it can belong to.
    """

    def __init__(self, gtin: str, skus: Sequence[str]) -> None:
        def act(book: Book, answers: Any) -> str:
            from stock.shop.scanning import tie_barcode

            return tie_barcode(book, gtin, answers["item"], answers["pack"])

        super().__init__(
            f"Barcode {gtin} is new. Which item is it? (asked once)",
            (
                Field("item", "Item", "", "item code; → completes it", choices=skus, check=needed),
                Field("pack", "Pack", hint="supplier's pack code, if there are several"),
            ),
            act,
        )
        self.known = {sku.upper() for sku in skus}
        self.caught: list[str] = []

    @on(Input.Submitted)
    def _scanned_meanwhile(self, event: Input.Submitted) -> None:
        """Keep a code that is no item's for afterwards."""
        text = event.value.strip()
        if like_a_code(text) and text.upper() not in self.known:
            event.prevent_default()
            event.stop()
            with event.input.prevent(Input.Changed):
                event.input.value = ""
            self.caught.append(text)
            self.wrong(
                f"{text} waits ({len(self.caught)} in line): first say whose the new barcode is."
            )
