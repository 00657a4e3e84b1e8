"""Point forecasts, classes and scores against published and independently recomputed values."""

import numpy as np
import pytest

from stock.demand import scores
from stock.demand.classes import classify, interval_and_cv2
from stock.demand.smoothers import averaged, smoothed, sparse_rates
from tests.benchmarks import demand_opponents as opponents

# Values by three implementations each (numpy recursion, explicit weights, statsforecast 2.1.1);
# the first series is the worked example of Croston's method with forecast .8461538; the second and
# third are y1 and y2 of statsforecast's test_fitted_sparse; the fourth was constructed.
SPARSE = [
    ([1, 0, 0, 0, 2, 0, 0], 0.1, 0.1, 0.846153846154, 0.803846153846, 0.6736851),
    ([2, 5, 0, 1, 3, 0, 1, 1, 0], 0.9, 0.1, 1.73267692837, 1.64604308195, 0.788173469883),
    ([0, 0, 1, 0, 0, 7, 1, 0, 1], 0.9, 0.1, 0.546323529412, 0.519007352941, 0.3236244814),
    (
        [0, 0, 6, 0, 0, 0, 12, 0, 24, 0, 0, 0, 0, 6, 0, 0],
        0.2,
        0.05,
        2.54026950799,
        2.41325603259,
        1.32391244786,
    ),
]


@pytest.mark.parametrize(("use", "size_alpha", "chance_alpha", "croston", "sba", "tsb"), SPARSE)
def test_size_and_chance_smoothed_apart_give_the_tsb_forecast(
    use, size_alpha, chance_alpha, croston, sba, tsb
):
    # Teunter, Syntetos and Babai (2011), European Journal of Operational Research 214.
    values = np.array(use, float)[:, None]
    chance, size, _ = sparse_rates(values, size_alpha, chance_alpha, even_start=False)
    assert chance[0] * size[0] == pytest.approx(tsb, rel=1e-9)


@pytest.mark.parametrize(("use", "size_alpha", "chance_alpha", "croston", "sba", "tsb"), SPARSE)
def test_the_studys_croston_and_sba_are_the_published_ones(
    use, size_alpha, chance_alpha, croston, sba, tsb
):
    # Croston (1972), Operational Research Quarterly 23; Syntetos and Boylan (2005), IJF 21.
    size, interval = opponents.croston(np.array([use], float))
    assert size[0] / interval[0] == pytest.approx(croston, rel=1e-9)
    assert 0.95 * size[0] / interval[0] == pytest.approx(sba, rel=1e-9)


def test_the_studys_adida_aggregates_to_the_mean_interval():
    # Nikolopoulos et al. (2011), JORS 62; value by aggregation and least-squares smoothing
    # (grid and Brent) and by statsforecast 2.1.1.
    use = [2, 0, 0, 1, 0, 3, 0, 0, 4, 0, 0, 1, 0, 2, 0, 0, 5, 0]
    assert opponents.means(np.array([use], float))["ADIDA"][0] == pytest.approx(
        1.032768205, rel=1e-4
    )


# Cuts 1.32 and 0.49: Syntetos, Boylan and Croston (2005), JORS 56. Series constructed; average
# interval and CV² (ddof 0) by numpy and by the statistics module.
CLASSES = [
    ([12, 14, 13, 15, 12, 13, 14, 13, 12, 15], 1.0, 0.00684040929391, "smooth"),
    ([4, 30, 2, 25, 3, 41, 5, 2, 38, 4], 1.0, 0.991904199696, "erratic"),
    ([0, 0, 5, 0, 6, 0, 0, 5, 0, 6, 0, 0], 3.0, 0.00826446280992, "intermittent"),
    # published with ddof 1 as 1.25089179548; with four demands ddof 0 is three quarters of it
    ([0, 0, 1, 0, 0, 20, 0, 2, 0, 0, 0, 35], 3.0, 1.25089179548 * 3 / 4, "lumpy"),
]


@pytest.mark.parametrize(("use", "interval", "cv2", "kind"), CLASSES)
def test_classes_follow_the_published_cuts(use, interval, cv2, kind):
    values = np.array([use], float)
    found_interval, found_cv2 = interval_and_cv2(values)
    assert found_interval[0] == pytest.approx(interval)
    assert found_cv2[0] == pytest.approx(cv2, rel=1e-9)
    assert classify(values).tolist() == [kind]


AIRLINE = [112, 118, 132, 129, 121, 135, 148, 148, 136, 119, 104, 118]
AIRLINE += [115, 126, 141, 135, 125, 149, 170, 170, 158, 133, 114, 140]


def test_smoothing_gives_the_recursions_value():
    # Recursion by hand and statsforecast's SimpleExponentialSmoothing: 3.2269.
    values = np.arange(1.0, 6.0)[:, None]
    assert smoothed(values, 0.3, even_start=False)[-1, 0] == pytest.approx(3.2269)


def test_averages_of_the_airline_passengers():
    # Box and Jenkins, airline passengers 1949–50: last six months and all, numpy and statsforecast.
    values = np.array(AIRLINE, float)[:, None]
    assert averaged(values, 6)[-1, 0] == pytest.approx(147.5)
    assert averaged(values, 10_000)[-1, 0] == pytest.approx(133.166666667)
    assert averaged(values, 1)[-1, 0] == 140.0


def test_the_studys_seasonal_naive_repeats_last_year():
    # The same series read as weeks of a 52-week year: totals of the same weeks a year before.
    year = np.array([AIRLINE * 3], float)[:, :60]
    found = opponents.seasonal_naive(year)
    assert found is not None
    assert found[0, :, 0].tolist() == [
        year[0, 8:10].sum(),
        year[0, 8:12].sum(),
        year[0, 8:14].sum(),
    ]


def test_error_measures_of_a_worked_example():
    # Constructed; numpy and utilsforecast.losses agree.
    past = np.array([5.0, 7, 6, 9, 8, 10, 9, 12])
    truth, forecast = np.array([11.0, 13, 12, 14]), np.array([10.0, 12, 13, 13])
    assert scores.mean_absolute_error(truth, forecast) == 1.0
    assert scores.root_mean_squared_error(truth, forecast) == 1.0
    assert scores.bias(truth, forecast) == -0.5
    assert scores.weighted_absolute_percentage_error(truth, forecast) == pytest.approx(0.08)
    scaled = scores.mean_absolute_scaled_error(truth, forecast, past)
    assert scaled == pytest.approx(0.538461538462)
    root = scores.root_mean_squared_scaled_error(truth, forecast, past)
    assert root == pytest.approx(0.491303684441)


def test_pinball_loss_of_a_worked_example():
    # Definition, utilsforecast and scoringrules agree: .4333.
    loss = scores.pinball(np.array([10.0, 12, 7]), np.array([[12.0], [11], [9]]), np.array([0.9]))
    assert loss.mean() == pytest.approx(0.433333333333)


@pytest.mark.parametrize(
    ("truth", "lower", "upper", "alpha", "score"),
    [(25.0, 10.0, 20.0, 0.2, 60.0), (3.5, 4.0, 9.5, 0.1, 15.5)],
)
def test_interval_score_is_width_plus_the_fine_for_missing(truth, lower, upper, alpha, score):
    # Gneiting and Raftery (2007), JASA 102; scoringrules and utilsforecast agree.
    found = scores.interval_score(np.array([truth]), np.array([lower]), np.array([upper]), alpha)
    assert found[0] == pytest.approx(score)


@pytest.mark.parametrize(
    ("truth", "sample", "weights", "crps"),
    [
        # properscoring 0.1, test_crps_weight_examples
        (1, [0, 2], [0.5, 0.5], 0.5),
        (1.5, [0, 2], [0.8, 0.2], 0.98),
        (2.5, [0, 1, 2], None, 1.05555555556),
        (-1, [0, 1, 2], None, 1.55555555556),
    ],
)
def test_crps_of_a_weighted_sample(truth, sample, weights, crps):
    share = None if weights is None else np.array(weights)
    found = scores.crps_of_sample(truth, np.array(sample, float), share)
    assert found == pytest.approx(crps)


def test_crps_of_many_normal_quantiles_nears_the_closed_form():
    # (√2 − 1)/√π = .23369: Gneiting et al. (2005), Monthly Weather Review 133.
    from scipy.stats import norm

    sample = norm.ppf((np.arange(20_000) + 0.5) / 20_000)
    assert scores.crps_of_sample(0.0, sample) == pytest.approx(0.23369497725510915, rel=1e-4)


def test_crps_of_a_poisson_count():
    # Sum of (F − 1)²; scoringrules crps_poisson: Poisson of mean 3, outcome 5.
    from scipy.stats import poisson

    counts = np.arange(60.0)
    found = scores.crps_of_sample(5.0, counts, poisson(3).pmf(counts))
    assert found == pytest.approx(1.3131144367, rel=1e-8)
