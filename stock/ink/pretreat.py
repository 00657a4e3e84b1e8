"""How much pretreat a blank takes: mg per cm² of the sprayed rectangle, from wet weighings.

Weigh a blank before and right after spraying, wet: on the press it also loses the water the cloth
had by itself (cotton keeps 7–8 % of its mass in humidity: ASTM D1909, Morton & Hearle 2008, both
second-hand), a third of a dose. Pretreat is a chemical: gloves and air as its safety data sheet
says. Nothing here knows which blank it is; callers key doses by style and colour.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from stock.errors import Refused
from stock.ink.mode import LARGEST_CM, PretreatDose

PIECE_SD: Final = 0.08
"""Spread of the dose from piece to piece before the weighings show their own. Judgement."""

SCALE_SD_G: Final = 0.5
"""Of one reading of a shop scale, g. Judgement."""

_PIECE_DEGREES: Final = 4.0
_MOST_MG_PER_CM2: Final = 200.0


@dataclass(frozen=True, slots=True)
class WetWeighing:
    """One blank weighed dry (g), sprayed over ``width_cm`` × ``height_cm``, weighed wet (g)."""

    dry_g: float
    wet_g: float
    width_cm: float
    height_cm: float

    @property
    def mg_per_cm2(self) -> float:
        """Dose of this piece.

        >>> round(WetWeighing(150.0, 178.0, 40.64, 50.8).mg_per_cm2, 2)
        13.56
        """
        return (self.wet_g - self.dry_g) * 1000 / (self.width_cm * self.height_cm)

    @classmethod
    def of_gain(cls, gain_g: float, area_cm2: float) -> WetWeighing:
        """A weighing of which only the gain and the sprayed area were kept.

        >>> round(WetWeighing.of_gain(28.0, 40.64 * 50.8).mg_per_cm2, 2)
        13.56
        """
        side = math.sqrt(area_cm2)
        return cls(gain_g, 2 * gain_g, side, side)


def check_weighing(weighing: WetWeighing) -> None:
    """Refuse a weighing that cannot be, in one sentence.

    Raises:
        Refused: No mass, no area, or a dose nobody sprays.
    """
    masses = (weighing.dry_g, weighing.wet_g)
    sides = (weighing.width_cm, weighing.height_cm)
    if not all(math.isfinite(value) and value > 0 for value in masses):
        raise Refused(f"Masses of {masses[0]} g dry and {masses[1]} g wet; expected more than 0.")
    if not all(math.isfinite(side) and 0 < side <= LARGEST_CM for side in sides):
        raise Refused(f"A sprayed rectangle of {sides[0]} × {sides[1]} cm; expected lengths in cm.")
    if weighing.wet_g <= weighing.dry_g:
        raise Refused(
            f"The blank weighed {weighing.dry_g:g} g before and {weighing.wet_g:g} g after "
            f"spraying: it must gain; weigh it wet, before any heat."
        )
    if weighing.mg_per_cm2 > _MOST_MG_PER_CM2:
        raise Refused(
            f"{weighing.mg_per_cm2:.0f} mg/cm² is more than any blank takes "
            f"(usual 9 to 32); check the masses and the rectangle."
        )


def calibrate_dose(prior: PretreatDose, weighings: Sequence[WetWeighing]) -> PretreatDose:
    """The dose after wet weighings of one style and colour, with its standard deviation.

    Normal mean with the prior as one more observation; the spread between pieces is learnt beside
    it from a prior of 8 % (Gelman et al., Bayesian Data Analysis, 3rd ed., 2.5–2.6). Pieces far
    off (a missed corner, a double pass) widen the spread but are not left out.

    Raises:
        Refused: A weighing that cannot be.
    """
    if not weighings:
        return prior
    for weighing in weighings:
        check_weighing(weighing)
    doses = [weighing.mg_per_cm2 for weighing in weighings]
    count = len(doses)
    mean = sum(doses) / count
    between = sum((dose - mean) ** 2 for dose in doses)
    expected = (PIECE_SD * mean) ** 2
    variance = (_PIECE_DEGREES * expected + between) / (_PIECE_DEGREES + count - 1)
    # Two readings make one weighing.
    scale = (
        sum(2 * (SCALE_SD_G * 1000 / (w.width_cm * w.height_cm)) ** 2 for w in weighings) / count
    )
    data = count / (variance + scale)
    before = 1 / prior.mg_per_cm2_sd**2 if prior.mg_per_cm2_sd > 0 else math.inf
    if math.isinf(before):
        return prior
    precision = data + before
    return replace(
        prior,
        mg_per_cm2=(data * mean + before * prior.mg_per_cm2) / precision,
        mg_per_cm2_sd=precision**-0.5,
        calibrated=True,
    )


def sprayed_cm2(width_cm: float, height_cm: float, dose: PretreatDose) -> float:
    """The sprayed rectangle: the print with a margin on every side, cm².

    >>> sprayed_cm2(30.0, 40.0, PretreatDose(margin_cm=1.0))
    1344.0
    """
    return (width_cm + 2 * dose.margin_cm) * (height_cm + 2 * dose.margin_cm)


def sprayed_g(dose: PretreatDose, width_cm: float, height_cm: float) -> tuple[float, float]:
    """(grams, standard deviation) on one garment with a print of that size.

    >>> grams, sd = sprayed_g(PretreatDose(margin_cm=0.0), 40.64, 50.8)
    >>> round(grams, 1), round(sd, 1)
    (29.9, 5.2)
    """
    area = sprayed_cm2(width_cm, height_cm, dose)
    return area * dose.mg_per_cm2 / 1000, area * dose.mg_per_cm2_sd / 1000
