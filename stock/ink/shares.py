"""What one picture asks of a print mode, free of any size: shares of its area.

A share of 1 is the whole rectangle of the picture at full tone (white may exceed 1: two layers).
Kept by the book as JSON; the centimetres and millilitres come later, from the order line.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from stock.ink.mode import CHANNELS

SHARES_VERSION: Final = 1
"""Raised whenever the same file and mode would give other shares, so caches start anew."""


@dataclass(frozen=True, slots=True)
class Shares:
    """Ink shares of one picture on one kind of garment in one mode.

    Args:
        file: Path as given.
        sha256: Of the file's bytes.
        width_px, height_px: After turning as the orientation tag says.
        dpi, dpi_y: Resolution tag, horizontal and vertical; None when there is none.
        share: By channel, tone-weighted share of the full area; white before any choke.
        touched_share: Share of the area covered with any ink, alpha counting as coverage.
        white_loss: White within 0, 1, 2, … steps of an edge as a share of the area: a choke
            takes it.
        white_step_px: Length of a step, pixels of the picture.
        choke_cm: How far the mode pulls white in from edges.
        notes: Sentences for the person.
        garment: What it was measured for; empty where nobody says.
    """

    file: str
    sha256: str
    width_px: int
    height_px: int
    dpi: float | None
    dpi_y: float | None
    share: Mapping[str, float]
    touched_share: float
    white_loss: tuple[float, ...] = ()
    white_step_px: float = 0.25
    choke_cm: float = 0.0
    notes: tuple[str, ...] = field(default=())
    garment: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        return {
            "version": SHARES_VERSION,
            "file": self.file,
            "sha256": self.sha256,
            "width_px": self.width_px,
            "height_px": self.height_px,
            "dpi": self.dpi,
            "dpi_y": self.dpi_y,
            "share": {channel: self.share.get(channel, 0.0) for channel in CHANNELS},
            "touched_share": self.touched_share,
            "white_loss": list(self.white_loss),
            "white_step_px": self.white_step_px,
            "choke_cm": self.choke_cm,
            "notes": list(self.notes),
            "garment": self.garment,
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Shares:
        """The shares :meth:`to_dict` wrote.

        Raises:
            KeyError, TypeError, ValueError: Not such data.
        """
        dpi, dpi_y = data.get("dpi"), data.get("dpi_y")
        return cls(
            file=str(data["file"]),
            sha256=str(data["sha256"]),
            width_px=int(data["width_px"]),
            height_px=int(data["height_px"]),
            dpi=None if dpi is None else float(dpi),
            dpi_y=None if dpi_y is None else float(dpi_y),
            share={channel: float(data["share"][channel]) for channel in CHANNELS},
            touched_share=float(data["touched_share"]),
            white_loss=tuple(float(v) for v in data.get("white_loss", ())),
            white_step_px=float(data.get("white_step_px", 0.25)),
            choke_cm=float(data.get("choke_cm", 0.0)),
            notes=tuple(str(note) for note in data.get("notes", ())),
            garment=str(data.get("garment", "")),
        )
