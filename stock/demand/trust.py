"""How far each model is trusted, and how much the bands are widened, per demand class.

Both start from values chosen on open data (see tests/benchmarks/demand_study.py) and move with
what the shop's own past shows: the pool is asked at up to six earlier weeks, for a sample of
series of each class, and scored against what then happened. Shares and factors have no unit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

from stock.demand.alike import CALMED, calmed
from stock.demand.known import Floats
from stock.demand.pool import LEAST_WEEKS, MODELS, pool_quantiles
from stock.demand.quantile_tables import LEVELS, MEDIAN
from stock.demand.scores import pinball

KNOTS: Final[Floats] = np.array([0.5, 0.8, 0.9, 0.95, 0.99])
"""Levels at which the widening is kept; between them it is interpolated, beyond 0.99 held."""

USUAL_WIDENING: Final[Mapping[str, tuple[float, float, float, float]]] = {
    "smooth": (0.88, 1.1, 1.2, 1.5),
    "erratic": (1.1, 1.15, 1.25, 1.7),
    "intermittent": (1.1, 1.6, 2.2, 2.8),
    "lumpy": (1.45, 1.75, 2.0, 2.7),
}
"""Factor on the distance from the median at .8, .9, .95, .99: what open data asked for."""

SAMPLE: Final = 60
"""Series of a class that are looked back on."""
ORIGINS: Final = 6
WEEKS_AHEAD: Final = (2, 4, 6)
_POWER: Final = 8.0
_WEIGHT_WORTH: Final = 50.0
_WIDER_WORTH: Final = 3.0
_NARROWER_WORTH: Final = 16.0
"""Totals apart that the usual widening counts for when the past asks for more, or for less: a
quiet past says less about the next peak than a wild one about the next calm."""
_WIDTHS: Final[Floats] = np.array(
    [0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.35, 1.5, 1.75, 2.0, 2.5, 3.0, 3.6]
)


@dataclass(frozen=True)
class Trust:
    """Weights of the models and widening at the knots, by class.

    ``origins`` is the number of earlier weeks looked back on; 0 where only the values chosen on
    open data are used.
    """

    weights: Mapping[str, Floats] = field(
        default_factory=lambda: dict.fromkeys(USUAL_WIDENING, np.full(len(MODELS), 1 / len(MODELS)))
    )
    widening: Mapping[str, Floats] = field(
        default_factory=lambda: {name: np.array(w) for name, w in USUAL_WIDENING.items()}
    )
    origins: int = 0

    def stretch(self, name: str) -> Floats:
        """Factor on the distance from the median at each kept level for class ``name``."""
        factor: Floats = np.interp(LEVELS, KNOTS, np.concatenate([[1.0], self.widening[name]]))
        return np.where(LEVELS < 0.5, 1.0, factor)


def learn_trust(values: Floats, classes: npt.NDArray[np.str_], horizon: int, seed: int) -> Trust:
    """Weights and widening from the series' own past, pulled towards the usual ones.

    Args:
        values: Use per week, shape (series, weeks); NaN before a series began.
        classes: Class of each series.
        horizon: Weeks that will be forecast; totals of 2, 4 and 6 weeks are scored, none longer.
        seed: Which series are looked back on when there are more than enough.
    """
    usual = Trust()
    ahead = [h for h in WEEKS_AHEAD if h <= horizon] or [horizon]
    weeks = values.shape[1]
    step = max(2, (weeks - 26) // 12)
    last = weeks - max(ahead)
    origins = [last - k * step for k in range(ORIGINS)]
    weights, widening = dict(usual.weights), dict(usual.widening)
    used = 0
    for name in usual.weights:
        rows = some_of(np.flatnonzero(classes == name), seed)
        calm = name == CALMED
        looked = [_look_back(values[rows], origin, ahead, calm=calm) for origin in origins]
        seen = [look for look in looked if look is not None]
        if seen:
            used = max(used, len(seen))
            span = (len(seen) - 1) * step + max(ahead)
            weights[name] = _weights(seen)
            widening[name] = _widening(seen, weights[name], usual.widening[name], span)
    return Trust(weights, widening, used)


def some_of(rows: npt.NDArray[np.intp], seed: int) -> npt.NDArray[np.intp]:
    """At most :data:`SAMPLE` of ``rows``, in their order, the same for the same seed."""
    if len(rows) <= SAMPLE:
        return rows
    return np.sort(np.random.default_rng(seed).permutation(rows)[:SAMPLE])


@dataclass(frozen=True, eq=False)
class _Look:
    """One earlier week: truth (series, h), every model's quantiles (model, series, h, level)."""

    truth: Floats
    quantiles: Floats
    scale: Floats


def _look_back(values: Floats, origin: int, ahead: list[int], *, calm: bool) -> _Look | None:
    """Ask the pool at ``origin``, over the longest past that half of the series share."""
    if origin < LEAST_WEEKS:
        return None
    for length in (origin, 104, 52, 26, LEAST_WEEKS):
        start = max(0, origin - length)
        known = ~np.isnan(values[:, start:]).any(axis=1)
        if 2 * known.sum() >= len(values):
            break
    if not known.any():
        return None
    past = values[known, start:origin]
    later = np.cumsum(values[known, origin:], axis=1)
    truth = np.array([later[:, h - 1] for h in ahead]).T
    scale = np.sqrt((np.diff(past, axis=1) ** 2).mean(axis=1))
    alive = scale > 0
    if not alive.any():
        return None
    quantiles = np.zeros((len(MODELS), len(past), len(ahead), len(LEVELS)))
    for place, model, found in pool_quantiles(calmed(past) if calm else past, ahead):
        quantiles[MODELS.index(model), :, place] = np.maximum(found, 0.0)
    per_week = scale[alive, None] * np.array(ahead)
    return _Look(truth[alive], quantiles[:, alive], per_week)


def _weights(seen: list[_Look]) -> Floats:
    places = np.searchsorted(LEVELS, KNOTS)
    models = len(MODELS)
    loss = np.zeros((models, len(KNOTS)))
    cases = 0
    for look in seen:
        lost = pinball(look.truth, look.quantiles[..., places], KNOTS)
        loss += (lost / look.scale[..., None]).mean(axis=2).sum(axis=1)
        cases += len(look.truth)
    ratio = (loss / loss.mean(axis=0)).mean(axis=1)
    learnt = ratio**-_POWER / (ratio**-_POWER).sum()
    trust = cases / (cases + 2 * _WEIGHT_WORTH)
    return np.asarray(trust * learnt + (1 - trust) / models)


def _widening(seen: list[_Look], weights: Floats, usual: Floats, span: int) -> Floats:
    """Factor at each knot with the least pinball loss at the earlier weeks, shrunk in logs."""
    places = np.searchsorted(LEVELS, KNOTS[1:])
    loss = np.zeros((len(_WIDTHS), len(KNOTS) - 1))
    for look in seen:
        pooled = np.tensordot(weights, look.quantiles, axes=1)
        middle = pooled[..., MEDIAN, None]
        away = pooled[..., places] - middle
        for width, factor in enumerate(_WIDTHS):
            lost = pinball(look.truth, np.maximum(middle + factor * away, 0.0), KNOTS[1:])
            loss[width] += (lost / look.scale[..., None]).sum(axis=(0, 1))
    move = np.log(_WIDTHS[loss.argmin(axis=0)] / usual)
    apart = span / WEEKS_AHEAD[-1]
    series = max(len(look.truth) for look in seen)
    worth = np.where(move > 0, _WIDER_WORTH, _NARROWER_WORTH)
    trust = apart / (apart + worth) * series / (series + 10)
    return np.asarray(usual * np.exp(trust * move))
