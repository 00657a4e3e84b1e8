"""Many files at once: measured side by side, each answered by its shares or by its error.

Threads suffice: decoding and counting run in libvips, outside Python's lock. The order of the
answers is that of the files.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from pathlib import Path

from stock.errors import ArtworkUnreadable
from stock.ink.measure import measure_shares
from stock.ink.mode import Garment, PrintMode
from stock.ink.shares import Shares

Progress = Callable[[int, int, Path], None]
"""Called with files done, files in all, and the file just done; in the caller's thread."""


@dataclass(frozen=True, slots=True)
class MeasureJob:
    """One file to measure, on what and how."""

    path: Path
    garment: Garment
    mode: PrintMode
    page: int = 1


def measure_many(
    paths: Iterable[str | Path],
    *,
    garment: Garment,
    mode: PrintMode,
    page: int = 1,
    workers: int = 2,
    cache_dir: Path | None = None,
    on_progress: Progress | None = None,
) -> list[Shares | ArtworkUnreadable]:
    """Measure files for one garment and mode; see :func:`measure_jobs`."""
    jobs = [MeasureJob(Path(path), garment, mode, page) for path in paths]
    return measure_jobs(jobs, workers=workers, cache_dir=cache_dir, on_progress=on_progress)


def measure_jobs(
    jobs: Sequence[MeasureJob],
    *,
    workers: int = 2,
    cache_dir: Path | None = None,
    on_progress: Progress | None = None,
) -> list[Shares | ArtworkUnreadable]:
    """Shares of each job, or the error that names why its file cannot be measured.

    Raises:
        Refused: A mode nobody can print with; nothing more is measured then.
    """

    def one(job: MeasureJob) -> Shares | ArtworkUnreadable:
        try:
            return measure_shares(
                job.path, garment=job.garment, mode=job.mode, page=job.page, cache_dir=cache_dir
            )
        except ArtworkUnreadable as error:
            return error

    answers: dict[int, Shares | ArtworkUnreadable] = {}
    pending: dict[Future[Shares | ArtworkUnreadable], int] = {}
    todo = iter(enumerate(jobs))
    with ThreadPoolExecutor(max(1, workers)) as pool:
        while True:
            # A short queue: an interrupt or a bad mode stops soon, whatever the number of files.
            while len(pending) < 2 * max(1, workers):
                number, job = next(todo, (-1, None))
                if job is None:
                    break
                pending[pool.submit(one, job)] = number
            if not pending:
                break
            done, _ = wait(pending, return_when=FIRST_COMPLETED)
            for future in done:
                number = pending.pop(future)
                answers[number] = future.result()
                if on_progress is not None:
                    on_progress(len(answers), len(jobs), jobs[number].path)
    return [answers[number] for number in range(len(jobs))]
