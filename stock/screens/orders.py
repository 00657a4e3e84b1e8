"""Orders: what is to be printed by week and stage, whether it can be, and what an order needs."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from typing import TYPE_CHECKING, ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.widget import Widget
from textual.widgets import Static

from stock.clock import week_label
from stock.screens.base import ShopScreen
from stock.screens.widgets.charts import pipeline_drawn, pipeline_told
from stock.screens.widgets.find import Find
from stock.screens.widgets.picture import Picture
from stock.screens.widgets.rows import Column, Rows
from stock.screens.wording import counted

if TYPE_CHECKING:
    from stock.plan.clear_to_print import Clearance
    from stock.plan.clear_to_print import Job as Cleared
    from stock.shop import Book
    from stock.shop.views.jobs import Job

AHEAD_DAYS = 14
STAGES: tuple[tuple[str, ...], ...] = (
    ("quote", "confirmed", "released"),
    ("confirmed", "released"),
    ("quote",),
)


class OrdersScreen(ShopScreen):
    """The pipeline."""

    MODE = "orders"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("t", "stages", "Stages", tooltip="Orders and quotes, orders, or quotes"),
        Binding(
            "slash",
            "find",
            "Find",
            key_display="/",
            tooltip="Part of an order, garment, artwork or customer",
        ),
        Binding("c", "chart", "Chart", tooltip="Pieces by week and stage"),
        Binding("i", "take_file", "Import", tooltip="Take in a file of orders"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.stages: tuple[str, ...] = STAGES[0]
        self.jobs: list[Job] = []
        self.like = ""
        self.cleared: dict[tuple[str, int], Cleared] | None = None

    def body(self) -> Iterable[Widget]:
        """Lines and the chart."""
        yield Static("Reading …", id="head", markup=False)
        yield Find("part of an order, garment, artwork or customer; Enter")
        with Horizontal(classes="pair"):
            yield Rows(
                (
                    Column("week", 8),
                    Column("due", 10),
                    Column("print?", 7),
                    Column("order", 8, flex=1),
                    Column("line", 4, right=True),
                    Column("garment", 12, flex=1),
                    Column("left", 10, right=True),
                    Column("stage", 9),
                    Column("artwork", 9, flex=1, goes=1),
                    Column("customer", 9, flex=1, goes=2),
                ),
                self._cells,
                empty="No orders. i takes in a file of them.",
            )
            with Vertical(classes="detail wide-only", id="orders-side"):
                yield Picture(id="orders-chart")
        yield Static("", id="orders-note", classes="note", markup=False)

    def on_mount(self) -> None:
        """To the lines."""
        self.query_one(Rows).focus()
        super().on_mount()

    def look_again(self) -> None:
        """Open lines of the stages chosen; whether they can be printed when that is worked out."""
        stages = self.stages

        def read(book: Book) -> list[Job]:
            from stock.shop.views.jobs import open_jobs

            return open_jobs(book, stages=stages)

        self.look(read, self._show)
        keeper, day = self.shop_app.week, self.day
        self.look(
            lambda book: keeper().clearance(book, day, AHEAD_DAYS), self._judged, group="clear"
        )

    def _judged(self, found: Clearance) -> None:
        self.cleared = {(job.order, job.line): job for job in found.jobs}
        self.query_one(Rows).refresh()
        self._note()

    def _verdict(self, job: Job) -> str:
        if self.cleared is None:
            return "…"
        found = self.cleared.get((job.order, job.line))
        return found.verdict if found is not None else "–"

    def _cells(self, job: Job) -> tuple[str, ...]:
        return (
            *(week_label(job.due_on), job.due_on.isoformat(), self._verdict(job), job.order),
            *(str(job.line), job.blank, f"{job.left} of {job.quantity}", job.stage),
            *(job.artwork or "–", job.customer or "–"),
        )

    def _show(self, jobs: list[Job]) -> None:
        self.jobs = jobs
        self._filter()
        if self.pointed:
            rows = self.query_one(Rows)
            asked, self.pointed = self.pointed, ""
            lines = [f"{rows.row(n).order}/{rows.row(n).line}" for n in range(rows.count)]
            if asked in lines:
                rows.go_to(lines.index(asked))
        day = self.day
        self.query_one(Picture).show(
            partial(pipeline_drawn, jobs, day), partial(pipeline_told, jobs, day)
        )

    def _filter(self) -> None:
        like = self.like.lower()
        jobs = [
            job
            for job in self.jobs
            if any(
                like in text.lower() for text in (job.order, job.blank, job.artwork, job.customer)
            )
        ]
        self.query_one(Rows).show(jobs, key=lambda job: (job.order, job.line))
        pieces, orders = sum(job.left for job in jobs), len({job.order for job in jobs})
        of = f' with "{self.like}"' if self.like else ""
        if jobs:
            self.head(
                f"{counted(orders, 'order')}{of}, {counted(len(jobs), 'line')}, "
                f"{counted(pieces, 'piece')} ({', '.join(self.stages)}). Enter: needs"
            )
        elif of:
            self.head(f"No line{of}. / finds others, Escape there shows all")
        else:
            self.head("No orders of these stages. t: others   i takes in a file of orders")

    @on(Rows.Moved)
    def _note(self) -> None:
        """What stands in the way of the line under the cursor."""
        job = self.query_one(Rows).current
        said = ""
        if job is not None and self.cleared is not None:
            found = self.cleared.get((job.order, job.line))
            said = cleared_sentence(found) if found else _not_judged(job.stage)
        self.query_one("#orders-note", Static).update(said)

    @on(Rows.Chosen)
    def _open(self, event: Rows.Chosen) -> None:
        from stock.screens.order import OrderScreen

        self.app.push_screen(OrderScreen(event.row.order))

    @on(Find.Wanted)
    def _find(self, event: Find.Wanted) -> None:
        self.like = event.text
        self._filter()

    def action_find(self) -> None:
        """Show the field to find lines."""
        self.query_one(Find).call()

    def action_stages(self) -> None:
        """Orders and quotes, orders, or quotes."""
        self.stages = STAGES[(STAGES.index(self.stages) + 1) % len(STAGES)]
        self.look_again()

    def action_chart(self) -> None:
        """The chart beside or below the lines, or not."""
        self.query_one("#orders-side").toggle_class("wide-only", "tall")

    def action_take_file(self) -> None:
        """Take in a file of orders."""
        from stock.screens.first_run import import_form, import_sentence

        def taken(done: object) -> None:
            self.say(f"✓ {import_sentence(done)}")  # type: ignore[arg-type]
            self.look_again()

        self.ask(import_form(self.day, "orders"), taken)


def _not_judged(stage: str) -> str:
    if stage == "quote":
        return "A quote is not judged."
    return f"Due later than {AHEAD_DAYS} days from now: not judged yet."


def cleared_sentence(job: Cleared) -> str:
    """Whether a job can be printed and what is in the way, in sentences."""
    words = {
        "clear": "can be printed with what is here",
        "load": "can be printed once ink is loaded",
        "at risk": f"may not get through (chance {job.chance:.0%})",
        "short": f"cannot be printed with what is here (chance {job.chance:.0%})",
    }
    parts = [f"{job.order}/{job.line} {words[job.verdict]}."]
    for lack in job.lacks[:3]:
        unit = "" if lack.unit == "each" else f" {lack.unit}"
        coming = f", {lack.coming:,.4g}{unit} on order" if lack.coming else ""
        past = f", {lack.past_date:,.4g}{unit} past its date" if lack.past_date else ""
        parts.append(
            f"{lack.item}: {lack.here:,.4g}{unit} left for it of {lack.needed:,.4g}{unit}"
            f"{coming}{past}."
        )
    parts += [f"Load {feed.item} into {feed.printer} before it." for feed in job.feeds[:3]]
    return " ".join([*parts, *job.notes])
