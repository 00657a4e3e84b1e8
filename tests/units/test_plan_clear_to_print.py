"""Clear to print: what is here is walked job by job; chances against closed forms."""

from __future__ import annotations

from datetime import date, timedelta
from statistics import NormalDist

import pytest

from stock.demand.known import ItemTerms, MisprintRecord, OrderLine, PieceUse, Upkeep
from stock.plan.clear_to_print import clear_to_print
from stock.plan.snapshot import Offer, OnOrder, PlanSettings, Snapshot, StockLot

DAY = date(2026, 3, 2)
ITEMS = (
    ItemTerms("TEE", "blank", "each"),
    ItemTerms("HOOD", "blank", "each"),
    ItemTerms("W", "ink", "mL"),
    ItemTerms("PT", "pretreat", "g"),
)
NO_MISPRINTS = PlanSettings(misprint_prior=(0.0, 200.0))


def shelf(item: str, amount: float, **more) -> StockLot:
    return StockLot(item, "L", "SHELF", "shelf", amount, **more)


def slot(amount: float, **more) -> StockLot:
    return StockLot("W", "LW", "P1-W", "slot", amount, printer="P1", channel="W", **more)


def job(ref: str, *uses: PieceUse, pieces: float = 10, after: int = 0, **more) -> OrderLine:
    due = DAY + timedelta(days=after)
    return OrderLine(ref, 1, "released", DAY, due, pieces, printer="P1", uses=uses, **more)


def seen(*jobs: OrderLine, stock=(), **more) -> Snapshot:
    return Snapshot(
        DAY, ITEMS, stock=tuple(stock), order_lines=jobs, **{"settings": NO_MISPRINTS, **more}
    )


TEE, WHITE, HOOD = PieceUse("TEE", 1.0), PieceUse("W", 5.0), PieceUse("HOOD", 1.0)


def verdicts(snapshot: Snapshot, days: int = 7) -> list[str]:
    return [one.verdict for one in clear_to_print(snapshot, days).jobs]


def test_a_job_with_everything_loaded_and_on_the_shelf_is_clear():
    found = clear_to_print(seen(job("A", TEE, WHITE), stock=[shelf("TEE", 10), slot(50)]), 7)
    assert [(one.verdict, one.chance) for one in found.jobs] == [("clear", 1.0)]
    assert found.better == ()


def test_jobs_share_what_is_there_in_their_order():
    stock = [shelf("TEE", 15)]
    found = clear_to_print(seen(job("B", TEE, after=2), job("A", TEE, after=1), stock=stock), 7)
    assert [(one.order, one.verdict) for one in found.jobs] == [("A", "clear"), ("B", "short")]
    lack = found.jobs[1].lacks[0]
    assert (lack.item, lack.needed, lack.here, lack.chance) == ("TEE", 10.0, 5.0, 1.0)


def test_ink_on_the_shelf_is_to_be_loaded_before():
    stock = [shelf("TEE", 10), slot(20), shelf("W", 100)]
    found = clear_to_print(seen(job("A", TEE, WHITE), stock=stock), 7)
    assert found.jobs[0].verdict == "load"
    assert [(feed.printer, feed.item, feed.chance) for feed in found.jobs[0].feeds] == [
        ("P1", "W", 1.0)
    ]


def test_a_fresh_cartridge_lasts_for_the_jobs_after_it():
    stock = [slot(20), shelf("W", 1000)]
    jobs = (job("A", WHITE), job("B", WHITE, after=1), job("C", WHITE, after=2))
    offers = (Offer("W", "S", "W500", 500.0, 100.0),)
    found = clear_to_print(seen(*jobs, stock=stock, offers=offers), 7)
    assert [one.verdict for one in found.jobs] == ["load", "clear", "clear"]


def test_ink_of_another_machine_does_not_help():
    other = StockLot("W", "LW", "P2-W", "slot", 500, printer="P2", channel="W")
    assert verdicts(seen(job("A", WHITE), stock=[other])) == ["short"]


def test_upkeep_drinks_before_the_job():
    snapshot = seen(
        job("A", WHITE, after=5), stock=[slot(60)], upkeep=(Upkeep("W", 4.0, printer="P1"),)
    )
    assert verdicts(snapshot) == ["short"]
    assert verdicts(
        seen(job("A", WHITE), stock=[slot(60)], upkeep=(Upkeep("W", 4.0, printer="P1"),))
    ) == ["clear"]


def test_what_expires_before_the_job_is_not_there_for_it():
    ends = DAY + timedelta(days=3)
    stock = [shelf("PT", 500, effective_expiry=ends)]
    use = PieceUse("PT", 20.0)
    assert verdicts(seen(job("A", use, after=3), stock=stock)) == ["clear"]
    assert verdicts(seen(job("A", use, after=4), stock=stock)) == ["short"]


def test_customers_goods_and_quarantine_are_not_ours_to_print_on():
    stock = [shelf("TEE", 50, owner="C-1"), StockLot("TEE", "Q", "HOLD", "quarantine", 50)]
    assert verdicts(seen(job("A", TEE), stock=stock)) == ["short"]


def test_a_slot_whose_level_is_unsure_gives_the_normal_chance():
    # need 50 mL of a slot believed to hold 60 ± 10 mL: Φ(1) = 0.8413
    found = clear_to_print(seen(job("A", WHITE), stock=[slot(60, amount_sd=10)]), 7, 20_000)
    assert found.jobs[0].chance == pytest.approx(NormalDist().cdf(1), abs=0.01)
    assert found.jobs[0].verdict == "at risk"


def test_a_rate_that_may_be_wrong_gives_the_normal_chance():
    # 10 pieces of 5 ± 1 mL out of 55 mL: wrong by the same amount in all, Φ((55 − 50) / 10)
    use = PieceUse("W", 5.0, 1.0)
    found = clear_to_print(seen(job("A", use), stock=[slot(55)]), 7, 20_000)
    assert found.jobs[0].chance == pytest.approx(NormalDist().cdf(0.5), abs=0.01)


def test_misprints_take_blanks_with_their_binomial_chance():
    # 24 pieces, 24 blanks: every misprint lacks one; no misprint at 2 %: 0.98 ** 24 = 0.616
    record = (MisprintRecord("front", 1e9, 2e7),)
    snapshot = seen(
        job("A", TEE, pieces=24, location="front"), stock=[shelf("TEE", 24)], misprints=record
    )
    found = clear_to_print(snapshot, 7, 20_000)
    assert found.jobs[0].chance == pytest.approx(0.98**24, abs=0.01)


def test_a_job_that_cannot_be_finished_waits_in_the_better_order():
    jobs = (job("A", TEE, HOOD), job("B", TEE, after=1), job("C", TEE, after=2, pieces=50))
    found = clear_to_print(seen(*jobs, stock=[shelf("TEE", 12), shelf("HOOD", 3)]), 7)
    assert found.better == (("B", 1), ("A", 1), ("C", 1))


def test_a_job_whose_own_garments_have_not_come_waits_and_takes_nothing():
    jobs = (job("A", WHITE), job("B", WHITE, after=1))
    found = clear_to_print(seen(*jobs, stock=[slot(60)]), 7, absent={("A", 1)})
    assert found.better == (("B", 1), ("A", 1))


def test_quotes_and_later_jobs_are_not_walked():
    quote = OrderLine("Q", 1, "quote", DAY, DAY, 5, uses=(TEE,))
    found = clear_to_print(
        seen(quote, job("A", TEE, after=6), job("B", TEE, after=7), stock=[shelf("TEE", 99)]), 7
    )
    assert [one.order for one in found.jobs] == ["A"]


def test_overdue_jobs_are_for_today_and_scheduled_ones_for_their_day():
    late = job("A", TEE, after=-9)
    moved = job("B", TEE, after=30, scheduled_on=DAY + timedelta(days=1))
    found = clear_to_print(seen(moved, late, stock=[shelf("TEE", 99)]), 7)
    assert [(one.order, one.on) for one in found.jobs] == [
        ("A", DAY),
        ("B", DAY + timedelta(days=1)),
    ]


def test_what_is_on_order_is_told_beside_what_is_missing():
    coming = (OnOrder("P", "TEE", "S", 40.0, DAY),)
    found = clear_to_print(seen(job("A", TEE), on_order=coming), 7)
    assert found.jobs[0].lacks[0].coming == 40.0


def test_a_job_without_measured_artwork_says_that_ink_is_not_judged():
    found = clear_to_print(seen(job("A", TEE), stock=[shelf("TEE", 99)]), 7)
    assert "not judged" in found.jobs[0].notes[0]


def test_the_same_snapshot_gives_the_same_answer():
    snapshot = seen(job("A", PieceUse("W", 5.0, 1.0)), stock=[slot(55, amount_sd=5)])
    assert clear_to_print(snapshot, 7) == clear_to_print(snapshot, 7)
