"""Orders: what is to be printed by week and stage, and what one order needs."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import DataTable, Static

from stock.clock import week_label
from stock.exchange.safe_text import safe_text
from stock.screens.base import ShopScreen

if TYPE_CHECKING:
    from stock.plan.clear_to_print import Job as ClearJob
    from stock.shop.views.jobs import Job

AHEAD_DAYS = 14

STAGES: tuple[tuple[str, ...], ...] = (
    ("confirmed", "released"),
    ("quote",),
    ("quote", "confirmed", "released"),
)


class OrdersScreen(ShopScreen):
    """The pipeline."""

    MODE = "orders"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("t", "stages", "Stages", tooltip="Orders, quotes, or both"),
        Binding("enter", "needs", "Needs", show=False),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.stages: tuple[str, ...] = STAGES[2]
        self.clearance: dict[tuple[str, int], ClearJob] = {}
        self.jobs: list[Job] = []

    def body(self) -> Iterable[Widget]:
        """Lines above, the needs of the order under the cursor below."""
        yield Static("Reading …", id="orders-head", classes="head", markup=False)
        table: DataTable[str] = DataTable(id="orders-table", cursor_type="row", zebra_stripes=True)
        yield table
        yield Static("", id="orders-needs", classes="note", markup=False)

    def on_mount(self) -> None:
        """Columns."""
        table = self.query_one("#orders-table", DataTable)
        table.add_columns(
            "week", "due", "print?", "order", "line", "garment", "left", "stage", "artwork"
        )
        table.focus()
        super().on_mount()

    def look_again(self) -> None:
        """Open lines of the stages chosen."""
        from stock.shop.views.jobs import open_jobs

        stages = self.stages
        from stock.shop.clearing import clear_jobs

        day = self.shop_app.business_day()

        def cleared(found: Any) -> None:
            self.clearance = {(job.order, job.line): job for job in found.jobs}
            self._rows()

        def listed(jobs: list[Job]) -> None:
            self.jobs = jobs
            self._rows()
            self.look(lambda book: clear_jobs(book, day, AHEAD_DAYS), cleared, group="clear")

        self.look(lambda book: open_jobs(book, stages=stages), listed)

    def _rows(self) -> None:
        jobs = self.jobs
        table = self.query_one("#orders-table", DataTable)
        keep = table.cursor_row
        table.clear()
        before = ""
        for job in jobs:
            week = week_label(job.due_on)
            table.add_row(
                week if week != before else "",
                job.due_on.isoformat(),
                self._verdict(job),
                safe_text(job.order),
                str(job.line),
                safe_text(job.blank),
                f"{job.left} of {job.quantity}",
                job.stage,
                safe_text(job.artwork) or "–",
                key=f"{job.order}/{job.line}",
            )
            before = week
        if jobs:
            table.move_cursor(row=min(keep, len(jobs) - 1))
        pieces = sum(job.left for job in jobs)
        orders = len({job.order for job in jobs})
        self.query_one("#orders-head", Static).update(
            f"{orders} orders, {len(jobs)} lines, {pieces} pieces ({', '.join(self.stages)}). "
            "Enter: what the order needs"
            if jobs
            else "No orders. Import them: stock import orders orders.csv"
        )

    def _verdict(self, job: Job) -> str:
        """Whether it can be printed, as far as was looked."""
        found = self.clearance.get((job.order, job.line))
        return found.verdict if found is not None else "–"

    def action_stages(self) -> None:
        """Orders, quotes, or both."""
        self.stages = STAGES[(STAGES.index(self.stages) + 1) % len(STAGES)]
        self.look_again()

    @on(DataTable.RowSelected, "#orders-table")
    def action_needs(self) -> None:
        """What the order under the cursor needs."""
        row = self.query_one("#orders-table", DataTable).cursor_row
        if not 0 <= row < len(self.jobs):
            return
        order, day = self.jobs[row].order, self.shop_app.business_day()
        from stock.shop.views.order_needs import needs_of_order

        self.look(lambda book: needs_of_order(book, order, day), self._needs, group="needs")

    def _needs(self, needs: Any) -> None:
        parts = [
            f"{need.item} {need.amount:,.4g} {need.unit}".replace(" each", "")
            + (f" (only {need.on_hand:,.4g} here)" if need.on_hand < need.amount else "")
            for need in needs.lines
        ]
        text = f"{needs.order} needs: " + "; ".join(parts) if parts else "It needs nothing."
        for job in self.clearance.values():
            if job.order != needs.order:
                continue
            for lack in job.lacks[:2]:
                text += (
                    f" Line {job.line}: {lack.item} may be short (chance {lack.chance:.0%}, "
                    f"{lack.here:,.4g} here of {lack.needed:,.4g})."
                )
            for feed in job.feeds[:2]:
                text += f" Line {job.line}: load {feed.item} into {feed.printer} before it."
        self.query_one("#orders-needs", Static).update(safe_text(text))
