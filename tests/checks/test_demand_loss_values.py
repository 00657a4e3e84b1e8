"""Expected shortages and lead-time demand, through the paths that the planner reads.

Losses E[(X − x)⁺] and their complements E[(x − X)⁺] are those of stockpyl 1.0.2 (docstrings of its
loss functions, and its own tests), each recomputed by closed form and by quadrature or long sum.
"""

from datetime import date, timedelta

import numpy as np
import pytest
from scipy import stats

from stock.demand.chances import CancelHazard, MisprintRates, WinRates
from stock.demand.explode import explode
from stock.demand.forecast import Forecast
from stock.demand.known import ItemTerms, OrderLine, PieceUse
from stock.demand.on_book import OnBook
from stock.demand.quantile_tables import LEVELS, gamma_at_levels, normal_at_levels
from stock.demand.trust import Trust

DAY = date(2026, 3, 2)

CONTINUOUS = [
    (stats.norm(10, 1), 11.3, 0.0455279620865, 1.34552796209),  # the standard one at 1.3
    (stats.norm(15, 3), 18.6, 0.168307352151, 3.76830735215),
    (stats.gamma(2, scale=3), 4, 2.63597138116, 0.635971381157),
    (stats.lognorm(0.3, scale=np.exp(2)), 10, 0.283649738881, 2.55449120097),
    (stats.expon(scale=5), 1, 4.09363376539, 0.0936537653899),
    (stats.uniform(2, 6), 4, 1.33333333333, 1.33333333333 - 1),
]
COUNTS = [
    (stats.poisson(15), 18, 0.517609528258, 3.51760952826),
    (stats.poisson(7), 5, 2.2926001257, 0.292600125697),
    (stats.geom(0.2), 7, 1.048576, 3.048576),
    (stats.nbinom(4, 0.2), 14, 4.44730463203, 2.44730463203),
]


def paths_of(distribution, *, whole: bool, n_paths: int = 2000):
    quantiles = distribution.ppf(LEVELS)[None, None, :]
    seen = Forecast(
        ("one",),
        DAY,
        ("smooth",),
        ("given",),
        np.zeros((1, 1)),
        LEVELS,
        quantiles,
        np.array([whole]),
        Trust(),
    )
    return seen.draw(0, n_paths, seed=3)[0].astype(float)


@pytest.mark.parametrize(("distribution", "level", "loss", "complement"), CONTINUOUS)
def test_paths_drawn_from_kept_quantiles_have_the_published_loss(
    distribution, level, loss, complement
):
    need = paths_of(distribution, whole=False)
    assert np.maximum(need - level, 0).mean() == pytest.approx(loss, rel=0.01)
    assert np.maximum(level - need, 0).mean() == pytest.approx(complement, rel=0.01)


@pytest.mark.parametrize(("distribution", "level", "loss", "complement"), COUNTS)
def test_paths_of_counts_have_the_published_loss(distribution, level, loss, complement):
    # 27 kept levels tell counts apart less finely: within 3 % of the mean's size.
    need = paths_of(distribution, whole=True)
    near = 0.03 * max(distribution.mean() / 5, 1.0)
    assert np.maximum(need - level, 0).mean() == pytest.approx(loss, abs=near)
    assert np.maximum(level - need, 0).mean() == pytest.approx(complement, abs=2 * near)


def test_normal_quantiles_are_those_of_the_standard_tables():
    found = normal_at_levels(np.array([0.0]), np.array([1.0]))[0]
    assert found == pytest.approx(stats.norm.ppf(LEVELS), abs=1e-9)


@pytest.mark.parametrize("cv", [0.02, 0.1, 0.31, 0.5, 0.9, 1.0, 1.7, 3.0, 6.0])
def test_gamma_quantiles_agree_with_scipy(cv):
    exact = stats.gamma(cv**-2, scale=7 * cv**2).ppf(LEVELS)
    found = gamma_at_levels(np.array([7.0]), np.array([(7 * cv) ** 2]))[0]
    assert found == pytest.approx(exact, abs=7 * 2e-3)


def exploded_paths(chance_sizes: list[tuple[float, float]], n_paths: int):
    """Many order lines, each small in chance: their sum nears a compound Poisson."""
    lines = [
        OrderLine(
            f"o{place}",
            1,
            "quote",
            DAY,
            DAY + timedelta(days=3),
            size,
            win_probability=chance,
            uses=(PieceUse("tee", 1.0),),
        )
        for place, (chance, size) in enumerate(chance_sizes)
    ]
    need = explode(
        lines,
        [ItemTerms("tee", "blank", "each")],
        day=DAY,
        horizon_days=7,
        misprints=MisprintRates(0.0),
        wins=WinRates(),
        hazard=CancelHazard((0.0,) * 5),
    )
    return need, OnBook(need, n_paths, 1, seed=11).by_day(0, lambda: np.zeros(n_paths))[3]


def test_order_lines_of_small_chance_add_up_to_the_compound_poisson():
    # Rate 1.8 a week over 1.5 weeks, sizes 1, 2, 6, 12 with chances .55, .25, .15, .05: Panjer
    # recursion and FFT of the generating function agree (constructed).
    pmf = [0.0672055127397, 0.0998001864185, 0.119465359515]
    pmf += [0.104045436848, 0.0789464272663, 0.0515393568471]
    copies, rate = 40, 1.8 * 1.5
    sizes = [(1, 0.55), (2, 0.25), (6, 0.15), (12, 0.05)]
    lines = [(rate * share / copies, size) for size, share in sizes for _ in range(copies)]
    need, paths = exploded_paths(lines, 40_000)
    assert need.mean[0].sum() == pytest.approx(6.885)
    assert need.variance[0].sum() == pytest.approx(38.205, rel=0.03)
    share = np.bincount(paths.astype(int), minlength=7)[:6] / len(paths)
    assert share == pytest.approx(pmf, abs=0.008)
    covered = (paths <= 19).mean()
    assert covered == pytest.approx(0.952967364367, abs=0.006)
    assert (paths <= 18).mean() < 0.95 < covered


def test_stuttering_poisson_lead_time_demand():
    # Rate .7 over 2 weeks, geometric order sizes with parameter .4: Panjer recursion and the
    # Pólya–Aeppli sum agree (constructed): mean 3.5, variance 14, 95 % reorder point 11.
    copies, rate, stop = 60, 1.4, 0.4
    sizes = [(size, stop * (1 - stop) ** (size - 1)) for size in range(1, 16)]
    lines = [
        (rate * share / copies, size)
        for size, share in sizes
        for _ in range(max(copies // size, 8))
    ]
    scale = [
        copies / max(copies // size, 8) for size, _ in sizes for _ in range(max(copies // size, 8))
    ]
    lines = [(chance * up, size) for (chance, size), up in zip(lines, scale, strict=True)]
    need, paths = exploded_paths(lines, 40_000)
    assert need.mean[0].sum() == pytest.approx(3.5, rel=0.01)
    assert need.variance[0].sum() == pytest.approx(14.0, rel=0.04)
    share = np.bincount(paths.astype(int), minlength=7)[:6] / len(paths)
    pmf = [0.246596963942, 0.138094299807, 0.12152298383]
    pmf += [0.103331361402, 0.0855904787691, 0.0694334191775]
    assert share == pytest.approx(pmf, abs=0.009)
    assert (paths <= 11).mean() == pytest.approx(0.957935423157, abs=0.006)
    assert (paths <= 10).mean() < 0.95


def test_negative_binomial_lead_time_demand_from_the_gamma_table():
    # Mean 2.4 a week, variance 5.4, three weeks: reorder point at 95 % is 15, P(Y ≤ 15) = .96298,
    # P(Y = 0) = .00936 (scipy, recurrence, logarithmic compound Poisson; constructed). A gamma
    # amount rounded to whole things stands for the count in the pool.
    quantiles = gamma_at_levels(np.array([7.2]), np.array([16.2]))[0]
    at_95 = quantiles[np.searchsorted(LEVELS, 0.95)]
    assert at_95 == pytest.approx(15, abs=1)
    exact = stats.nbinom(5.76, 0.444444444444).ppf(LEVELS)
    assert np.rint(quantiles) == pytest.approx(exact, abs=1)
