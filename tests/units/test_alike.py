"""Series alike lend each other what their own past is too short to show."""

from __future__ import annotations

import numpy as np

from stock.demand.alike import KEPT, LEAST_ALIKE, Alike, calm_rows, calmed, learn_alike
from stock.demand.forecast import forecast, learn
from stock.demand.known import History
from stock.demand.quantile_tables import LEVELS, MEDIAN, gamma_at_levels


def gamma_class(count: int, noise: float) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Quantiles of as many series whose true spread is 60 % of the mean, each misjudged."""
    draws = np.random.default_rng(7)
    mean = np.exp(draws.normal(3, 1, count))
    values = mean[:, None] * draws.gamma(1 / 0.36, 0.36, (count, 60))
    wrong = np.exp(noise * draws.standard_normal(count))
    true = gamma_at_levels(mean, (0.6 * mean) ** 2)[:, None, :]
    middle = true[:, :, MEDIAN : MEDIAN + 1]
    said = np.where(LEVELS > 0.5, middle + wrong[:, None, None] * (true - middle), true)
    return said, true, values, np.full(count, "erratic")


def test_a_misjudged_spread_comes_nearer_the_true_one() -> None:
    """Empirical Bayes: many noisy estimates are better drawn towards what they share.

    Source: B. Efron and C. Morris, "Data analysis using Stein's estimator and its
    generalizations", Journal of the American Statistical Association 70 (1975) 311–319.
    """
    said, true, values, classes = gamma_class(80, 0.3)
    settled = said.copy()
    learn_alike(said, values, classes).settle(settled, values, classes)
    place = int(np.searchsorted(LEVELS, 0.95))
    widths = [found[:, 0, place] - found[:, 0, MEDIAN] for found in (said, settled, true)]
    before, after = (np.log(width / widths[2]) for width in widths[:2])
    assert (after**2).mean() < 0.5 * (before**2).mean()


def test_quantiles_up_to_the_median_stay_and_the_order_of_levels_is_kept() -> None:
    said, _, values, classes = gamma_class(40, 0.3)
    settled = said.copy()
    learn_alike(said, values, classes).settle(settled, values, classes)
    assert np.array_equal(settled[:, :, : MEDIAN + 1], said[:, :, : MEDIAN + 1])
    assert (np.diff(settled, axis=2) > -1e-9).all()


def test_a_handful_of_series_is_not_a_class() -> None:
    said, _, values, classes = gamma_class(LEAST_ALIKE - 1, 0.3)
    settled = said.copy()
    found = learn_alike(said, values, classes)
    found.settle(settled, values, classes)
    assert not found.usual
    assert np.array_equal(settled, said)


def test_few_series_keep_more_of_their_own_than_many() -> None:
    kept = []
    for count in (10, 200):
        said, _, values, classes = gamma_class(count, 0.3)
        kept.append(learn_alike(said, values, classes).kept["erratic"])
    assert 1 > kept[0] > kept[1] > KEPT["erratic"]


def test_only_weeks_far_above_the_usual_use_are_calmed() -> None:
    values = np.array([[2.0, 3, 2, 3, 2, 20, 400, 0]])
    found = calmed(values)
    changed = np.flatnonzero(found[0] != values[0])
    assert changed.tolist() == [6]
    bound = 7 * np.median([2, 3, 2, 3, 2, 20, 400])
    assert np.isclose(found[0, 6], np.sqrt(400 * bound))


def test_calming_leaves_other_classes_and_weeks_unknown_alone() -> None:
    values = np.array([[np.nan, 1.0, 1, 1, 100], [np.nan, 1, 1, 1, 100], [0.0, 0, 0, 0, 0]])
    found = calm_rows(values, np.array(["erratic", "lumpy", "erratic"]))
    assert np.isnan(found[0, 0])
    assert found[0, 4] < 100
    assert np.array_equal(found[1:], values[1:], equal_nan=True)


def test_one_odd_week_moves_an_erratic_forecast_less_than_its_share() -> None:
    """The mean after a spike of thirty usual weeks stays below that of the last eight weeks."""
    draws = np.random.default_rng(3)
    values = draws.gamma(1.2, 10 / 1.2, (12, 52))
    values[:, -2] = 30 * 10.0
    mondays = np.datetime64("2024-01-01") + 7 * np.arange(52)
    history = History(
        tuple(f"s{n}" for n in range(12)), mondays, values, np.zeros(values.shape, bool)
    )
    seen = forecast(history, 4)
    assert set(seen.classes) == {"erratic"}
    assert seen.weekly_mean.mean() < values[:, -8:].mean()


def test_each_series_is_forecast_alike_alone_and_among_the_others() -> None:
    """What series say together is learnt once: engines that split them give the same answer."""
    draws = np.random.default_rng(5)
    values = draws.gamma(1.0, 10.0, (20, 60))
    mondays = np.datetime64("2024-01-01") + 7 * np.arange(60)
    keys = tuple(f"s{n}" for n in range(20))
    history = History(keys, mondays, values, np.zeros(values.shape, bool))
    learned = learn(history, 4)
    assert isinstance(learned.alike, Alike)
    assert learned.alike.usual
    together = forecast(history, 4, learned=learned)
    one = History(keys[3:4], mondays, values[3:4], np.zeros((1, 60), bool))
    alone = forecast(one, 4, learned=learned)
    assert np.allclose(alone.total_quantiles[0], together.total_quantiles[3], rtol=1e-9)
