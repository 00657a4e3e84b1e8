"""Cautions as data: what to mind, where it applies, who says so, of what date.

None of this replaces the maker's manual, the safety data sheet or the rules where you work: they
decide, and each caution says so. Waste is never classified here. A source that gives no date says
"no date"; one known only as cited by another is marked second-hand.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

DEFERS: Final = (
    "The machine maker's manual, the safety data sheet and the rules where you work decide."
)


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing to mind.

    Args:
        topic: One or two words, as asked for on the command line.
        where: At which actions it is shown.
        text: What to mind, in sentences.
        source: Who says so.
        source_date: Of what date the source is.
    """

    topic: str
    where: str
    text: str
    source: str
    source_date: str

    def to_json(self) -> dict[str, Any]:
        """The row, with whom it defers to."""
        return {
            "topic": self.topic,
            "where": self.where,
            "text": self.text,
            "source": self.source,
            "source_date": self.source_date,
            "defers_to": DEFERS,
        }


CAUTIONS: Final[tuple[Caution, ...]] = (
    Caution(
        "hot press",
        "printing, pretreating",
        "Presses run at 160 to 180 °C: skin burns at once and hands are pinched. Steam and vapour "
        "come off wet pretreat and ink. Keep hands clear, wear heat-proof gloves, ventilate.",
        "contact with hot surfaces: ISO 13732-1; press temperatures: common practice, no source",
        "2006",
    ),
    Caution(
        "chemicals",
        "opening, pouring, loading, mixing",
        "Ink, pretreat and cleaning liquid are chemicals: gloves and eye protection, and the data "
        "sheet read before a container is opened.",
        "29 CFR 1910.1200(g), safety data sheets (second-hand)",
        "no date",
    ),
    Caution(
        "waste",
        "scrapping, writing off, unloading, cleaning",
        "Waste ink, flush and spent pads go where section 13 of the data sheet and the local rules "
        "say, never down a drain unless they allow it. The book records how much; it does not say "
        "which kind of waste it is.",
        "section 13 of the data sheet is not enforced by US OSHA and may be thin: "
        "29 CFR 1910.1200(g)(2) (second-hand); EU list of waste, Decision 2000/532/EC",
        "2000",
    ),
    Caution(
        "past its date",
        "loading, printing",
        "A date on a label is the maker's margin, not a sudden end; settled pigment is the risk. "
        "Do not count on such ink, and test it before it goes into a machine.",
        "blog of a sign supply house, on solvent ink",
        "no date",
    ),
    Caution(
        "frozen",
        "receiving, storing",
        "Water-based ink that froze may have separated for good: quarantine it, test it, and scrap "
        "it if it has. One cartridge seller disagrees; ask the maker.",
        "a trade magazine for screen printers",
        "no date",
    ),
    Caution(
        "storing",
        "receiving, shelf",
        "Keep ink and pretreat at 16 to 27 °C; above 27 °C they may spoil for good. On moisture of "
        "the air the published advice disagrees (from 35 to 80 %): the label decides.",
        "support page of a printer maker",
        "no date",
    ),
    Caution(
        "shaking",
        "start-up, loading",
        "White pigment settles: shake or stir it at each start-up, and a cartridge before it goes "
        "in. Keep the container closed while you do.",
        "a trade magazine for imprinted apparel",
        "2018-05-07",
    ),
    Caution(
        "scorch",
        "pretreating, curing",
        "Polyester scorches for good; press marks on cotton wash out. Vapour from curing ink is "
        "not for breathing: ventilate.",
        "blog of a supplier; trade press on curing",
        "no date",
    ),
)


def caution(topic: str) -> Caution:
    """The caution on ``topic``.

    Raises:
        KeyError: There is none.
    """
    for known in CAUTIONS:
        if known.topic == topic:
            return known
    raise KeyError(topic)
