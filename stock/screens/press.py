"""Press log: the due jobs; one key logs a job as it was planned, a form logs anything else.

What a run took, from which slot and lot, stands below until the next one; what a place could not
give is said there too.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual import on
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from stock.errors import Outdated, Refused
from stock.screens.base import ShopScreen
from stock.screens.dialogs import Answers, Field, Form, whole_number
from stock.screens.today import safe_lines
from stock.screens.widgets.find import Find
from stock.screens.widgets.rows import Column, Rows
from stock.screens.wording import counted, held

if TYPE_CHECKING:
    from datetime import date

    from stock.shop import Book
    from stock.shop.printing import Printed
    from stock.shop.views.jobs import Job

HOT = (
    "Hot press: 160–180 °C burns at once. Hands clear, gloves, fumes drawn off; pretreat, ink and "
    "garment makers' sheets say how long and how hot."
)


class PressScreen(ShopScreen):
    """The runs of the day."""

    MODE = "press"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "log", "Log a run", priority=False),
        Binding("g", "all_good", "All good", tooltip="Log what is left of the job, no misprints"),
        Binding("slash", "find", "Find", key_display="/", tooltip="Part of an order or garment"),
        Binding("h", "history", "Runs", tooltip="The runs logged so far"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.jobs: list[Job] = []
        self.like = ""

    def body(self) -> Iterable[Widget]:
        """Jobs, and what the last run took."""
        yield Static("Reading …", id="head", markup=False)
        yield Find("part of an order, garment or artwork; Enter")
        with Horizontal(classes="pair"):
            yield Rows(
                (
                    Column("due", 10),
                    Column("", 4),
                    Column("order", 8, flex=1),
                    Column("line", 4, right=True),
                    Column("garment", 12, flex=1),
                    Column("left", 10, right=True),
                    Column("printer", 7),
                    Column("artwork", 9, flex=1, goes=1),
                    Column("at", 8, goes=2),
                    Column("cm", 5, right=True, goes=3),
                ),
                self._cells,
                empty="No jobs. i on Today takes in orders: stock import --template orders",
                id="press-rows",
            )
            with VerticalScroll(classes="detail short"):
                yield Static("What a run took will stand here.", id="press-took", markup=False)
        yield Static(HOT, classes="caution", markup=False)

    def on_mount(self) -> None:
        """To the jobs."""
        self.query_one(Rows).focus()
        super().on_mount()

    def look_again(self) -> None:
        """The open jobs."""
        from stock.shop.views.jobs import open_jobs

        self.look(open_jobs, self._show)

    def _cells(self, job: Job) -> tuple[str, ...]:
        late = (self.day - job.due_on).days
        return (
            job.due_on.isoformat(),
            "late" if late > 0 else "",
            job.order,
            str(job.line),
            job.blank,
            f"{job.left} of {job.quantity}",
            job.printer or "–",
            job.artwork or "–",
            job.location or "–",
            f"{job.width_cm:g}" if job.width_cm else "–",
        )

    def _show(self, jobs: list[Job]) -> None:
        self.jobs = jobs
        self._filter()
        if self.pointed:
            rows = self.query_one(Rows)
            place = next((n for n, job in enumerate(jobs) if job.order == self.pointed), None)
            self.pointed = ""
            if place is not None:
                rows.go_to(place)

    def _filter(self) -> None:
        like = self.like.lower()
        jobs = [
            job
            for job in self.jobs
            if like in job.order.lower() or like in job.blank.lower() or like in job.artwork.lower()
        ]
        self.query_one(Rows).show(jobs, key=lambda job: (job.order, job.line))
        late = sum(job.due_on < self.day for job in jobs)
        pieces = sum(job.left for job in jobs)
        of = f" with {self.like!r}" if self.like else ""
        self.head(
            f"{counted(len(jobs), 'job')} to print{of}, {counted(pieces, 'piece')}, {late} late. "
            "g: all good   Enter: with misprints"
            if jobs
            else f"No jobs to print{of}."
        )

    def action_find(self) -> None:
        """Show the field to find jobs."""
        self.query_one(Find).call()

    @on(Find.Wanted)
    def _find(self, event: Find.Wanted) -> None:
        self.like = event.text
        self._filter()

    @on(Rows.Chosen)
    def action_log(self) -> None:
        """Log a run of the job under the cursor."""
        job = self.query_one(Rows).current
        if job is None:
            return
        day, seen = self.day, [job.left]

        def act(book: Book, answers: Answers) -> tuple[Printed, str]:
            """What was printed is never refused; a run logged meanwhile is told once."""
            try:
                return _log(book, job, answers, day, seen[0] if seen else None)
            except Outdated as error:
                seen.clear()
                raise Refused(f"{error} Ctrl+S again if yours come on top.") from None

        form = Form(
            f"{job.order} line {job.line}: {job.blank}, {job.artwork or 'no artwork'}",
            (
                Field("good", "Good pieces", str(job.left), check=whole_number()),
                Field("misprints", "Misprints", "0", check=whole_number()),
                Field("location", "Location", job.location, "front, back, sleeve …"),
                Field("printer", "Printer", job.printer, "the job's own, or the only one"),
            ),
            act,
            note="A misprint spends garment, pretreat and ink like a good piece. " + HOT,
        )
        self.ask(form, self._took)

    def action_all_good(self) -> None:
        """Log what is left of the job under the cursor, no misprints."""
        job = self.query_one(Rows).current
        if job is None:
            return
        answers = {
            "good": str(job.left),
            "misprints": "0",
            "printer": job.printer,
            "location": job.location,
        }
        day = self.day
        self.post(lambda book: _log(book, job, answers, day, job.left), self._took)

    def _took(self, done: tuple[Printed, str]) -> None:
        printed, said = done
        self.query_one("#press-took", Static).update(safe_lines(took(printed)))
        mind = " ".join([*overruns(printed), *printed.notes])
        self.booked(
            printed.entry, f"Entry {printed.entry}: {said}." + (f" ⚠ {mind}" if mind else "")
        )

    def action_history(self) -> None:
        """The runs so far."""
        from stock.screens.history import HistoryScreen

        self.app.push_screen(HistoryScreen(kinds=("print",), title="run"))


def _log(
    book: Book, job: Job, answers: Answers, day: date, left: int | None
) -> tuple[Printed, str]:
    """Log a run; ``left``: what was left of the job when the person looked."""
    from stock.shop.printing import PrintLog, log_print
    from stock.shop.station import who

    good, bad = int(answers["good"]), int(answers["misprints"])
    log = PrintLog(
        *(job.order, job.line, good, bad, day),
        printer=answers["printer"],
        location=answers["location"],
    )
    printed = log_print(book, log, who=who(), left=left)
    return printed, f"{job.order}/{job.line}: {good} good, {bad} misprints"


def overruns(printed: Printed) -> list[str]:
    """What places could not give, in sentences."""
    from stock.shop.printing import overrun_sentence

    return [overrun_sentence(over) for over in printed.overruns]


def took(printed: Printed) -> str:
    """What a run took, a line an item; what asks for a look first."""
    lines = [f"⚠ {said}" for said in overruns(printed)]
    lines += [f"Entry {printed.entry} took:"]
    for used in printed.used:
        places, lots = ", ".join(used.places), ", ".join(used.lots[:3])
        more = " …" if len(used.lots) > 3 else ""
        lines.append(
            f"{held(used.amount, used.unit):>10} {used.item} from {places}, lot {lots}{more}"
        )
    return "\n".join([*lines, *(f"⚠ {note}" for note in printed.notes)])
