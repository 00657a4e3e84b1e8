"""Press log: pick a due job, type good pieces and misprints, see what it took."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import DataTable, Static

from stock.exchange.safe_text import safe_text
from stock.screens.base import ShopScreen
from stock.screens.dialogs import Field, Form
from stock.units import format_amount

if TYPE_CHECKING:
    from stock.shop.printing import Printed
    from stock.shop.views.jobs import Job

HOT = "Hot press: 160–180 °C burns at once. Gloves, clear hands, air."


class PressScreen(ShopScreen):
    """The runs of the day."""

    MODE = "press"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "log", "Log a run", priority=False),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.jobs: list[Job] = []

    def body(self) -> Iterable[Widget]:
        """Jobs above, what the last run took below."""
        yield Static("Reading …", id="press-head", classes="head", markup=False)
        table: DataTable[str] = DataTable(id="press-table", cursor_type="row", zebra_stripes=True)
        yield table
        yield Static(HOT, id="press-took", classes="note", markup=False)

    def on_mount(self) -> None:
        """Columns."""
        table = self.query_one("#press-table", DataTable)
        table.add_columns("due", "order", "line", "garment", "left", "artwork", "at", "printer")
        table.focus()
        super().on_mount()

    def look_again(self) -> None:
        """The open jobs."""
        from stock.shop.views.jobs import open_jobs

        self.look(open_jobs, self._show)

    def _show(self, jobs: list[Job]) -> None:
        self.jobs = jobs
        table = self.query_one("#press-table", DataTable)
        keep = table.cursor_row
        table.clear()
        today = self.shop_app.business_day()
        for job in jobs:
            table.add_row(
                job.due_on.isoformat() + (" late" if job.due_on < today else ""),
                safe_text(job.order),
                str(job.line),
                safe_text(job.blank),
                f"{job.left} of {job.quantity}",
                safe_text(job.artwork) or "–",
                safe_text(job.location) or "–",
                safe_text(job.printer) or "–",
                key=f"{job.order}/{job.line}",
            )
        if jobs:
            table.move_cursor(row=min(keep, len(jobs) - 1))
        self.query_one("#press-head", Static).update(
            f"{len(jobs)} jobs to print. Enter logs a run of the one under the cursor."
            if jobs
            else "No jobs. Import orders: stock import orders orders.csv"
        )

    @on(DataTable.RowSelected, "#press-table")
    def action_log(self) -> None:
        """Log a run of the job under the cursor."""
        row = self.query_one("#press-table", DataTable).cursor_row
        if not 0 <= row < len(self.jobs):
            return
        job = self.jobs[row]
        self.app.push_screen(
            Form(
                f"{job.order} line {job.line}: {job.blank}, {job.artwork or 'no artwork'}",
                (
                    Field("good", "Good pieces", str(job.left)),
                    Field("misprints", "Misprints", "0"),
                    Field("printer", "Printer", job.printer),
                    Field("location", "Location", job.location),
                ),
                note=HOT + "  Ctrl+S logs it at once.",
            ),
            lambda answer: self._answered(job, answer),
        )

    def _answered(self, job: Job, answer: dict[str, str] | None) -> None:
        if answer is None:
            return
        good, bad = answer["good"] or "0", answer["misprints"] or "0"
        if not good.isdigit() or not bad.isdigit():
            self.complain(f"Good {good!r}, misprints {bad!r}: expected whole numbers.")
            return
        from stock.shop.printing import PrintLog, log_print
        from stock.shop.station import who

        log = PrintLog(
            job.order,
            job.line,
            int(good),
            int(bad),
            self.shop_app.business_day(),
            answer["printer"],
            answer["location"],
        )

        def done(printed: Printed) -> None:
            self._took(printed)
            self.booked(printed.entry, f"Entry {printed.entry}: {good} good, {bad} misprints.")

        self.post(lambda book: log_print(book, log, who=who()), done)

    def _took(self, printed: Printed) -> None:
        from stock.shop.printing import overrun_sentence

        parts: list[Any] = [
            f"{used.item} {format_amount(used.amount, used.unit)} from "
            f"{', '.join(used.places)} (lot {', '.join(used.lots[:2])})"
            for used in printed.used
        ]
        parts += [f"⚠ {overrun_sentence(over)}" for over in printed.overruns]
        parts += list(printed.notes)
        self.query_one("#press-took", Static).update(
            "Took: " + safe_text("; ".join(parts)) if parts else "It took nothing."
        )
