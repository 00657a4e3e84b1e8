"""Measuring artwork for people: with the book's rates when there is a book, else by priors."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from stock.book.opening import book_url, open_book
from stock.book.tables import printer
from stock.clock import today
from stock.errors import ArtworkUnreadable, Refused, Unknown
from stock.ink.mode import PretreatDose, PrintMode, Rate, prior_rates
from stock.shop.estimating import DEFAULT_MODE, Estimator, modes_in
from stock.shop.finding import find

if TYPE_CHECKING:
    from stock.ink.measure import Estimate, Shares


def measure_files(
    files: Sequence[Path],
    *,
    book: str | None,
    width_cm: float | None,
    height_cm: float | None,
    garment: Any,
    mode: str = "",
    printer: str = "",
    pieces: int = 1,
    page: int = 1,
    cache_dir: Path | None = None,
) -> list[Estimate]:
    """Estimates for files, one each; by prior rates when ``book`` is None or not there yet.

    Raises:
        Refused: The first of :func:`measure_each`'s complaints.
    """
    found: list[Estimate] = []
    for answer in measure_each(
        files,
        book=book,
        width_cm=width_cm,
        height_cm=height_cm,
        garment=garment,
        mode=mode,
        printer=printer,
        pieces=pieces,
        page=page,
        cache_dir=cache_dir,
    ):
        if isinstance(answer, Refused):
            raise answer
        found.append(answer)
    return found


def measure_each(
    files: Sequence[Path],
    *,
    book: str | None,
    width_cm: float | None,
    height_cm: float | None,
    garment: Any,
    mode: str = "",
    printer: str = "",
    pieces: int = 1,
    page: int = 1,
    cache_dir: Path | None = None,
    on_progress: Callable[[int, int], None] = lambda _done, _total: None,
) -> list[Estimate | Refused]:
    """For each file its estimate, or the error that says why it has none.

    Files are measured side by side; ``cache_dir`` keeps what was measured by content;
    ``on_progress`` hears of files done and files in all.

    Raises:
        Refused: What would fail for every file: a size or number of pieces nobody prints, a mode
            or printer named that the book does not have.
    """
    from stock.ink.batch import measure_many
    from stock.ink.estimate import check_side, estimate

    if not 0 < pieces <= 1_000_000:
        raise Refused(f"{pieces} pieces were given; expected a whole number from 1.")
    check_side("width", width_cm)
    check_side("height", height_cm)
    the_mode, rates = _mode_and_rates(book, mode, printer)

    def one(shares: Shares | ArtworkUnreadable) -> Estimate | Refused:
        if isinstance(shares, ArtworkUnreadable):
            return shares
        try:
            return estimate(
                shares,
                width_cm=width_cm,
                height_cm=height_cm,
                rates=rates,
                dose=PretreatDose(),
                garment=garment,
                pieces=pieces,
            )
        except Refused as error:
            return error

    measured = measure_many(
        files,
        garment=garment,
        mode=the_mode,
        page=page,
        cache_dir=cache_dir,
        on_progress=lambda done, total, _: on_progress(done, total),
    )
    return [one(shares) for shares in measured]


def _is_there(address: str) -> bool:
    url = book_url(address)
    return url.get_backend_name() != "sqlite" or Path(url.database or "").is_file()


def _mode_and_rates(
    address: str | None, mode: str, printer_code: str, day: date | None = None
) -> tuple[PrintMode, dict[str, Rate]]:
    if address is None or not _is_there(address):
        if mode not in ("", DEFAULT_MODE):
            raise Unknown("print mode", mode, [DEFAULT_MODE])
        if printer_code:
            raise Unknown("printer", printer_code)
        plain = PrintMode(code=DEFAULT_MODE)
        return plain, prior_rates(plain)
    book = open_book(address)
    with book.reading() as connection:
        known = modes_in(connection)
        if mode and mode not in known:
            raise Unknown("print mode", mode, sorted(known))
        estimator = Estimator(connection)
        the_mode = estimator.mode(mode)
        printer_id = None
        if printer_code:
            printer_id = find(connection, printer, printer.c.code, printer_code, "printer").id
        else:
            ids = connection.scalars(select(printer.c.id).where(printer.c.active)).all()
            printer_id = ids[0] if len(ids) == 1 else None
        return the_mode, estimator.rates(printer_id, the_mode.code, day or today())
