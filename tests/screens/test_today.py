"""Today names what the plan tells: jobs that cannot be printed, forecasts that drift."""

from __future__ import annotations

from datetime import date, timedelta

from sqlalchemy import insert, select

from stock.book.opening import open_book
from stock.book.tables import forecast_log, item
from stock.screens.widgets.rows import Rows
from stock.shop.imports import import_rows
from stock.shop.views.attention import of_forecasts
from tests.screens.conftest import DAY, press, settled, shown

FORMER = DAY - timedelta(weeks=20)


def order_more(book_file, tmp_path, *rows):
    path = tmp_path / "more.csv"
    path.write_text(
        "order,line,placed_on,due_on,stage,blank,quantity\n" + "\n".join(rows) + "\n",
        encoding="utf-8",
    )
    book = open_book(str(book_file))
    import_rows(book, "orders", path, on=DAY, who="test")
    book.close()


def keep_forecasts(book_file, mean, rounds=8):
    """Forecasts of nothing used, given week by week in the past: what came was 0."""
    book = open_book(str(book_file))
    with book.reading() as connection:
        items = list(connection.scalars(select(item.c.id)))
    book.write(
        lambda connection: connection.execute(
            insert(forecast_log),
            [
                {
                    "made_on": FORMER + timedelta(weeks=2 * turn),
                    "item_id": item_id,
                    "horizon_weeks": 2,
                    "model": "by hand",
                    "quantiles": {
                        "class": "smooth",
                        "mean": mean,
                        "levels": [0.5, 0.9],
                        "values": [mean, 2 * mean],
                    },
                }
                for turn in range(rounds)
                for item_id in items
            ],
        )
    )
    book.close()


async def test_a_job_that_cannot_be_printed_is_named_and_leads_to_its_order(
    opened, book_file, tmp_path
):
    order_more(
        *(book_file, tmp_path, "B1,1,2026-03-09,2026-03-13,confirmed,TEE-WHT-L,60"),
        "B2,1,2026-03-09,2026-03-28,confirmed,TEE-WHT-L,60",
    )
    async with opened(size=(120, 30)) as pilot:
        await settled(pilot)
        assert "B1/1 for 2026-03-13 cannot be printed: TEE-WHT-L." in shown(pilot)
        assert "B2/1" not in shown(pilot)  # not within a week
        rows = pilot.app.screen.query_one(Rows)
        place = next(n for n in range(rows.count) if "B1/1" in rows.row(n).text)
        await press(pilot, *["down"] * place, "enter")
        assert pilot.app.current_mode == "orders"
        await settled(pilot)
        found = pilot.app.screen.query_one(Rows).current
        assert (found.order, found.line) == ("B1", 1)


async def test_what_must_be_ordered_today_leads_to_its_line(opened, book_file, tmp_path):
    order_more(
        *(book_file, tmp_path, "B1,1,2026-03-09,2026-03-12,confirmed,TEE-WHT-L,90"),
    )
    async with opened(size=(120, 30)) as pilot:
        await settled(pilot)
        rows = pilot.app.screen.query_one(Rows)
        place, row = next(
            (n, rows.row(n)) for n in range(rows.count) if rows.row(n).kind == "order"
        )
        assert "1 of them today: TEE-WHT-L." in row.text
        await press(pilot, *["down"] * place, "enter")
        await settled(pilot)
        assert pilot.app.current_mode == "reorder"
        assert pilot.app.screen.query_one(Rows).cursor > 0
        assert pilot.app.screen.query_one(Rows).current.item == "TEE-WHT-L"


async def test_many_jobs_that_cannot_be_printed_are_counted(opened, book_file, tmp_path):
    days = [date(2026, 3, 12) + timedelta(days=n % 5) for n in range(8)]
    order_more(
        *(book_file, tmp_path),
        *(f"B{n},1,2026-03-09,{day},confirmed,TEE-WHT-L,60" for n, day in enumerate(days)),
    )
    async with opened(size=(120, 40)) as pilot:
        await settled(pilot)
        assert "3 jobs more of this week are short or at risk." in shown(pilot)


async def test_forecasts_that_drift_are_told(opened, book_file):
    keep_forecasts(book_file, 40.0)
    async with opened(size=(120, 30)) as pilot:
        await settled(pilot)
        told = " ".join(shown(pilot).split())
        assert "In the last 8 rounds 100% less was used than forecast." in told


def test_too_few_rounds_say_nothing_about_drift(book_file):
    keep_forecasts(book_file, 40.0, rounds=3)
    assert of_forecasts(open_book(str(book_file)), DAY) == []
