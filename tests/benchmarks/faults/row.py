"""One row of the campaign's table, and the time limit of one trial."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from types import FrameType


class TookTooLong(BaseException):
    """A trial went over its time; no handler of the program may swallow it."""


@dataclass
class Row:
    """What one kind of fault did.

    Args:
        fault: What was done.
        tried: How many times.
        failed: How many of them did what they must not.
        said: Figures worth a word.
        failures: The failed ones, each as a line that lets it be made again.
    """

    fault: str
    tried: int = 0
    failed: int = 0
    said: str = ""
    failures: list[str] = field(default_factory=list)

    def fail(self, line: str) -> None:
        """Count a failure and print it at once."""
        self.failed += 1
        self.failures.append(line)
        print(f"  FAILED {line}"[:600], flush=True)


@contextmanager
def within(seconds: int) -> Iterator[None]:
    """Raise :class:`TookTooLong` in the main thread after so many seconds."""

    def ring(_number: int, _frame: FrameType | None) -> None:
        raise TookTooLong

    before = signal.signal(signal.SIGALRM, ring)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def table(rows: list[Row]) -> str:
    """All rows as aligned text."""
    wide = max((len(row.fault) for row in rows), default=5)
    lines = [f"{'fault':<{wide}}  {'tried':>7} {'failed':>7}  figures"]
    lines += [f"{row.fault:<{wide}}  {row.tried:>7,} {row.failed:>7}  {row.said}" for row in rows]
    return "\n".join(lines)
