"""Which look is worth most: closed form, brute force, and plain sense."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from stock.ink.belief import Belief, prior_belief
from stock.ink.interval import Use
from stock.ink.mode import PrintMode, Rate, prior_rates
from stock.ink.weigh_next import ItemState, SlotState, best_order, order_cost, weigh_next

SURE = Rate(per_cm2_ul=2.0, per_cm2_ul_sd=1e-9, per_day_ml=2.0, per_day_ml_sd=1e-9)
NOTHING = Use()


def slot(code: str = "W1", **changes: object) -> SlotState:
    made = SlotState(
        slot=code, item="WHITE", printer="P1", channel="W", level_ml=300.0, look_sd_ml=40.0,
        since=NOTHING, upcoming=NOTHING, method_sd_ml=2.0,
    )  # fmt: skip
    return replace(made, **changes)


def item(code: str = "WHITE", **changes: object) -> ItemState:
    made = ItemState(
        item=code, spare_ml=0.0, pack_ml=500.0, short_per_ml=1.0, over_per_ml=0.02,
        need_sd_ml=20.0,
    )  # fmt: skip
    return replace(made, **changes)


def beliefs(rate: Rate = SURE, *channels: str) -> dict[tuple[str, str], Belief]:
    return {("P1", c): prior_belief({"standard": rate}) for c in channels or ("W",)}


def test_worth_is_the_newsvendors_saving_in_closed_form() -> None:
    # Ordering any amount, normal stock: least cost is (p + h)·φ(z)·σ with z the fractile (Silver,
    # Pyke & Thomas 2017, 9.3), so knowing more is worth (p + h)·φ(z)·(σ before − σ after).
    only = slot(level_ml=0.0, upcoming=Use({"standard": 500_000.0}))
    ink = item(pack_ml=0.0, need_sd_ml=30.0)
    look = weigh_next([only], [ink], beliefs())[0]
    before, seen = 40.0**2 + 30.0**2, 40.0**4 / (40.0**2 + 2.0**2)
    z = norm.ppf(1.0 / 1.02)
    expected = 1.02 * norm.pdf(z) * (before**0.5 - (before - seen) ** 0.5)
    assert look.worth == pytest.approx(expected, rel=0.01)


def test_worth_is_that_of_a_brute_force_simulation() -> None:
    # Levels, rates, needs and readings drawn at random; after each reading the best order is found
    # from the draws that gave nearly that reading, with no formula for normal loss.
    rate = Rate(2.0, 0.5, per_day_ml=3.0, per_day_ml_sd=1.0)
    one = slot(
        level_ml=520.0, look_sd_ml=15.0, since=Use({"standard": 60_000.0}, days=10.0),
        upcoming=Use({"standard": 90_000.0}, days=14.0), method_sd_ml=5.0,
    )  # fmt: skip
    ink = item(spare_ml=0.0, need_sd_ml=25.0, pack_ml=250.0, over_per_ml=0.1)
    look = weigh_next([one], [ink], beliefs(rate))[0]
    rng = np.random.default_rng(9)
    n = 400_000
    cm2 = rng.normal(0, 0.5 / 1000, n)
    day = rng.normal(0, 1.0, n)
    level = 520 + rng.normal(0, 15, n) - 60_000 * cm2 - 10 * day
    end = level - 90_000 * (0.002 + cm2) - 14 * (3 + day) + rng.normal(0, 25, n)
    reading = level + rng.normal(0, 5, n)
    packs = np.arange(0, 8)
    stock = end[:, None] + 250 * packs
    cost = np.maximum(-stock, 0) * 1.0 + np.maximum(stock, 0) * 0.1
    blind = cost.mean(axis=0).min()
    slices = np.array_split(np.argsort(reading), 200)
    seen = np.mean([cost[part].mean(axis=0).min() for part in slices])
    assert look.packs_now == cost.mean(axis=0).argmin()
    assert look.worth == pytest.approx(blind - seen, rel=0.08)


def test_a_slot_nothing_depends_on_is_worth_nothing() -> None:
    full = item(spare_ml=50_000.0)
    look = weigh_next([slot()], [full], beliefs())[0]
    assert look.worth == pytest.approx(0, abs=1e-6)
    assert look.chance == 0
    assert "stay as it is" in look.sentence()


def test_the_vaguest_slot_near_its_order_point_comes_first() -> None:
    slots = [
        slot("W1", look_sd_ml=80.0, level_ml=150.0),
        slot("K1", item="BLACK", channel="K", look_sd_ml=5.0, level_ml=150.0),
        slot("C1", item="CYAN", channel="C", look_sd_ml=80.0, level_ml=150.0),
    ]
    inks = [
        item("WHITE", spare_ml=-100.0),
        item("BLACK", spare_ml=-100.0),
        item("CYAN", spare_ml=9_000.0),
    ]
    looks = weigh_next(slots, inks, beliefs(SURE, "W", "K", "C"))
    assert looks[0].slot == "W1"
    assert looks[0].chance > 0.05
    assert looks[0].worth > looks[1].worth >= looks[2].worth


def test_a_look_also_tells_of_its_neighbour_through_the_rate() -> None:
    # Both slots drink by the same unsure rate; weighing one narrows the need of the other.
    rate = Rate(2.0, 0.7)
    used = Use({"standard": 40_000.0})
    two = [
        slot("W1", look_sd_ml=2.0, since=used, upcoming=used, level_ml=200.0),
        slot("W2", item="WHITE-B", look_sd_ml=2.0, since=NOTHING, upcoming=used, level_ml=90.0),
    ]
    inks = [item("WHITE", spare_ml=9_000.0), item("WHITE-B", spare_ml=0.0)]
    looks = {look.slot: look for look in weigh_next(two, inks, beliefs(rate))}
    assert looks["W1"].worth > 10 * looks["W2"].worth
    assert looks["W1"].changes == ("WHITE-B",)


def test_a_level_known_exactly_need_not_be_looked_at() -> None:
    look = weigh_next([slot(look_sd_ml=0.0)], [item(spare_ml=-100.0)], beliefs())[0]
    assert look.worth == pytest.approx(0, abs=1e-6)
    assert look.level_sd_ml == pytest.approx(0, abs=1e-5)


def test_a_look_never_costs_and_narrows_the_level() -> None:
    rng = np.random.default_rng(2)
    rates = prior_rates(PrintMode())
    for _ in range(30):
        used = Use({"standard": float(rng.uniform(0, 50_000))}, prints=10, days=7)
        one = slot(
            level_ml=float(rng.uniform(0, 900)), look_sd_ml=float(rng.uniform(0, 90)),
            since=used, upcoming=used,
        )  # fmt: skip
        look = weigh_next([one], [item(spare_ml=float(rng.uniform(-400, 400)))],
                          {("P1", "W"): prior_belief({"standard": rates["W"]})})[0]  # fmt: skip
        assert look.worth >= -1e-9
        assert look.level_sd_after_ml <= look.level_sd_ml


def test_the_best_order_is_the_cheapest_of_all_orders() -> None:
    rng = np.random.default_rng(3)
    for _ in range(50):
        ink = item(
            pack_ml=float(rng.choice([100, 250, 1000])), over_per_ml=float(rng.uniform(0.01, 1))
        )
        mean, sd = float(rng.uniform(-3000, 500)), float(rng.choice([0, 1, 50, 400]))
        packs = np.arange(0, 80, dtype=float)
        costs = order_cost(ink, packs, np.full(80, mean), sd)
        assert best_order(ink, np.array([mean]), sd)[0] == packs[costs.argmin()]


def test_a_level_is_never_less_known_than_anything_the_slot_can_hold() -> None:
    # The standard deviation of a uniform belief over 0 … c is c / √12 (any textbook).
    long_ago = slot(look_sd_ml=5000.0, capacity_ml=1200.0)
    look = weigh_next([long_ago], [item()], beliefs())[0]
    assert look.level_sd_ml == pytest.approx(1200.0 / 12**0.5)
    recent = slot(look_sd_ml=40.0, capacity_ml=1200.0)
    assert weigh_next([recent], [item()], beliefs())[0].level_sd_ml == pytest.approx(40.0)
