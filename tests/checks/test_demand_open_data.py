"""The forecast on open data: pizza sales of 2015, shipped in the ``great-tables`` package (MIT).

A small part of the study in tests/benchmarks/demand_study.py that runs every time; bounds are those
a single data set is held to there, chosen before these origins were looked at.
"""

import numpy as np
import pytest

from stock.demand.forecast import forecast
from stock.demand.known import History, ItemTerms
from stock.demand.paths import need_paths
from stock.demand.scores import coverage, pinball
from stock.demand.sizes import shop_curve, size_curve
from tests.benchmarks import demand_opponents as opponents
from tests.benchmarks.demand_data import pizza_weeks

ORIGINS = (29, 36, 43)


@pytest.fixture(scope="module")
def sales():
    return pizza_weeks()


def history(values, mondays, weeks):
    past = values[:, :weeks]
    keys = tuple(f"pizza{row}" for row in range(len(past)))
    return History(keys, mondays[:weeks], past, np.zeros(past.shape, bool))


@pytest.fixture(scope="module")
def judged(sales):
    """Quantiles of six-week totals, truths, and the moving average's quantiles."""
    values, mondays = sales
    ours, theirs, truth = [], [], []
    for origin in ORIGINS:
        seen = forecast(history(values, mondays, origin), 6)
        ours.append(seen.quantile(list(opponents.LEVELS), 6))
        theirs.append(opponents.moving_average(values[:, :origin])[:, -1])
        truth.append(values[:, origin : origin + 6].sum(axis=1))
    return np.concatenate(ours), np.concatenate(theirs), np.concatenate(truth)


def test_six_week_totals_are_covered_as_promised(judged):
    ours, _, truth = judged
    below, at_most = coverage(truth, ours)
    for place, level in enumerate(opponents.LEVELS):
        bound = 0.15 if level < 0.9 else 0.08
        assert below[place] - bound <= level <= at_most[place] + bound


def test_the_pool_loses_less_than_a_moving_average(judged):
    ours, theirs, truth = judged
    mine = pinball(truth, ours, opponents.LEVELS).mean(axis=0)
    other = pinball(truth, theirs, opponents.LEVELS).mean(axis=0)
    assert (mine[1:4] < other[1:4]).all()


def test_one_day_of_sales_shrunk_to_the_shops_curve_foresee_sizes_better_than_alone():
    from great_tables import data

    sold = data.pizzaplace[["date", "name", "size"]]
    early, later = sold[sold["date"] < "2015-01-02"], sold[sold["date"] >= "2015-03-01"]
    shop = shop_curve(early["size"].value_counts().to_dict())
    shrunk, alone = [], []
    for name in sorted(set(sold["name"])):
        truth = later[later["name"] == name]["size"].value_counts(normalize=True)
        sizes = sorted(truth.index)
        counts = early[early["name"] == name]["size"].value_counts().reindex(sizes).fillna(0)
        if len(sizes) < 2 or not counts.sum():
            continue
        shares = size_curve(sizes, counts.tolist(), shop).shares
        shrunk.append(np.abs(shares - truth[sizes].to_numpy()).sum())
        alone.append(np.abs((counts / counts.sum() - truth[sizes]).to_numpy()).sum())
    assert len(shrunk) > 20
    assert np.mean(shrunk) < 0.7 * np.mean(alone)


def test_paths_of_a_real_item_hold_what_its_forecast_says(sales):
    values, mondays = sales
    given = history(values, mondays, 40)
    items = [ItemTerms(key, "supply", "each") for key in given.keys[:20]]
    day = (mondays[40]).astype(object)
    need = need_paths(items, history=given, day=day, horizon_weeks=6, n_paths=1000)
    totals = need.chunk(range(20)).sum(axis=2)
    said = need.forecast.quantile(0.9, 6)
    rows = [need.forecast.row(item.sku) for item in items]
    assert np.quantile(totals, 0.9, axis=1) == pytest.approx(said[rows], rel=0.03, abs=1)
