"""A table of series read from a CSV file or a data frame, and forecast without a book.

Columns ``unique_id, ds, y``: a name, an ISO date, an amount used. Daily and finer dates are summed
into ISO weeks (part weeks at the ends of the table are left out); weekly dates on any one weekday
stand for their ISO week. A series begins with its first row; a week without a row after that is a
week without use. Monthly and coarser tables are refused: a week cannot be told from a month.
Imports pandas when called.
"""

from __future__ import annotations

import csv
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from stock.demand.forecast import Forecast, forecast, learn
from stock.demand.known import History
from stock.demand.quantile_tables import LEVELS
from stock.demand.season import Season
from stock.demand.stocked_out import fill_gaps, lift_floors
from stock.errors import Fault, InputFaults, Refused, WrongUsage

if TYPE_CHECKING:
    import pandas as pd

COLUMNS: Final = ("unique_id", "ds", "y")
MOST_YEARS: Final = 20
"""Dates farther than this from the table's middle are taken for slips of the pen."""
MOST_AMOUNT: Final = 1e15
LEAST_AMOUNT: Final = 1e-12
_BEYOND: Final = "beyond the last column"
_ISO_DAY: Final = r"\d{4}-\d{2}-\d{2}([T ]\d{2}:.*)?"
MOST_WEEKS_AHEAD: Final = 52


@dataclass(frozen=True, eq=False)
class SeriesTable:
    """Weekly series as read, and what was done to the table on the way, in words."""

    history: History
    notes: tuple[str, ...]


def forecast_file(
    source: Path | str | pd.DataFrame,
    weeks: int,
    quantiles: Sequence[float] = (0.5, 0.9, 0.95),
    engine: str | None = None,
    *,
    autoets: bool = False,
) -> list[dict[str, Any]]:
    """Forecast every series of a table over the next ``weeks`` weeks.

    Args:
        source: A CSV file, or a data frame with the same columns.
        weeks: 1 to 52.
        quantiles: Levels from 0.005 to 0.995 of the total over all ``weeks`` weeks.
        engine: ``dask``, ``ray`` or ``spark`` hand the series to that engine; None: here.

    Returns:
        One mapping per series, by name: ``item``, ``class``, ``model`` (how it was forecast, in
        words), ``weekly`` (expected use in week 1 …), ``total`` (``mean`` and ``quantiles`` by
        level).

    Raises:
        InputFaults: Faults of the table, each with its line.
        Refused: An empty table, a coarser one than weeks, or an engine that is not installed.
        WrongUsage: Weeks, levels or engine out of range.
    """
    levels = checked_request(weeks, quantiles)
    table = read_series(source)
    return forecast_history(table.history, weeks, levels, engine, autoets=autoets)


def forecast_history(
    history: History,
    weeks: int,
    levels: Sequence[float],
    engine: str | None = None,
    *,
    autoets: bool = False,
    season: Season = (),
) -> list[dict[str, Any]]:
    """Forecast every series of ``history``, here or on ``engine``; rows as :func:`forecast_file`.

    Weeks in which an item ran out are lifted first, so that every engine sees the same numbers.

    Raises:
        WrongUsage: An engine that does not exist.
        Refused: An engine that is not installed.
    """
    if history.stocked_out.any():
        values = lift_floors(fill_gaps(history.values), history.stocked_out)
        whole = np.all(np.isnan(history.values) | (history.values % 1 == 0), axis=1)
        values[whole] = np.rint(values[whole])
        history = replace(history, values=values, stocked_out=np.zeros(values.shape, bool))
    learned = learn(history, weeks, autoets=autoets, season=season)
    if engine is None:
        return rows_of(forecast(history, weeks, learned=learned), levels)
    from stock.demand.engines import forecast_on

    return forecast_on(engine, history, weeks, levels, learned)


def checked_request(weeks: int, quantiles: Sequence[float]) -> list[float]:
    """The levels asked for, in order.

    Raises:
        WrongUsage: Weeks or a level that cannot be forecast.
    """
    if not 1 <= weeks <= MOST_WEEKS_AHEAD:
        raise WrongUsage(f"{weeks} weeks were asked for; 1 to {MOST_WEEKS_AHEAD} can be forecast.")
    low, high = float(LEVELS[0]), float(LEVELS[-1])
    wrong = [level for level in quantiles if not low <= level <= high]
    if wrong:
        raise WrongUsage(f"Level {wrong[0]:g} cannot be given; {low:g} to {high:g} can.")
    return sorted({float(level) for level in quantiles})


def rows_of(seen: Forecast, levels: Sequence[float]) -> list[dict[str, Any]]:
    """The forecast as plain mappings, one per series, by name."""
    weeks = seen.weekly_mean.shape[1]
    totals = seen.quantile(list(levels), weeks) if levels else np.zeros((len(seen.keys), 0))
    return [
        {
            "item": key,
            "class": seen.classes[row],
            "model": seen.models[row],
            "weekly": seen.weekly_mean[row].tolist(),
            "total": {
                "mean": float(seen.weekly_mean[row].sum()),
                "quantiles": {
                    f"{level:g}": float(total)
                    for level, total in zip(levels, totals[row], strict=True)
                },
            },
        }
        for row, key in enumerate(seen.keys)
    ]


def read_series(source: Path | str | pd.DataFrame) -> SeriesTable:
    """Read a table of series into weeks; see the module's opening for how."""
    import pandas as pd

    if isinstance(source, pd.DataFrame):
        name, raw = "table", source.reset_index(drop=True)
    else:
        name, raw = str(source), _read_csv(Path(source))
    missing = [column for column in COLUMNS if column not in raw.columns]
    if missing:
        found = ", ".join(map(str, raw.columns)) or "no columns"
        raise InputFaults(name, [Fault(1, "", found, f"a column {missing[0]!r}")])
    if not len(raw):
        raise Refused(f"{name}: the table has no rows; at least one was expected.")
    clean = _clean(name, raw)
    return _weekly(name, clean)


def _read_csv(path: Path) -> pd.DataFrame:
    import pandas as pd

    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            first = file.readline()
        if not first.strip():
            raise Refused(f"{path}: the file is empty; a header and rows were expected.")
        separator = max((";", "\t", ","), key=first.count)
        header = [name.strip() for name in next(csv.reader([first], delimiter=separator))]
        twice = {name for name in header if name in COLUMNS and header.count(name) > 1}
        if twice:
            raise InputFaults(str(path), [Fault(1, min(twice), "it twice", "one such column")])
        columns = [name or f"column {place}" for place, name in enumerate(header)]
        with warnings.catch_warnings():
            warnings.simplefilter("error", pd.errors.ParserWarning)
            return pd.read_csv(
                path,
                sep=separator,
                dtype=str,
                keep_default_na=False,
                skip_blank_lines=False,
                encoding="utf-8-sig",
                header=None,
                skiprows=1,
                names=[*dict.fromkeys(columns), _BEYOND],
                index_col=False,
            )
    except pd.errors.ParserWarning:
        raise InputFaults(str(path), _too_long(path, separator, len(header))) from None
    except FileNotFoundError:
        raise Refused(f"{path}: there is no such file.") from None
    except (UnicodeDecodeError, IsADirectoryError, PermissionError) as problem:
        raise Refused(f"{path}: could not be read as text ({problem}).") from None
    except pd.errors.EmptyDataError:
        raise Refused(f"{path}: the table has no rows; at least one was expected.") from None
    except (pd.errors.ParserError, ValueError) as problem:
        raise Refused(f"{path}: could not be read as CSV ({problem}).") from None


def _too_long(path: Path, separator: str, width: int) -> list[Fault]:
    """Lines with more values than the header names."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = csv.reader(file, delimiter=separator)
        return [
            Fault(rows.line_num, "", f"{len(row)} values", f"{width}, as the header names")
            for row in rows
            if len(row) > width and any(part.strip() for part in row[width:])
        ]


def _clean(name: str, raw: pd.DataFrame) -> pd.DataFrame:
    """Names, days and amounts, every fault with its line (a header is line 1)."""
    import pandas as pd

    names = raw["unique_id"].map(lambda value: "" if pd.isna(value) else str(value).strip())
    blank = names.eq("") & raw["ds"].map(_is_blank) & raw["y"].map(_is_blank)
    written = raw["ds"].map(lambda value: "" if _is_blank(value) else str(value).strip())
    dated = written.where(written.str.fullmatch(_ISO_DAY), "").str.slice(0, 10)
    days = pd.to_datetime(dated, errors="coerce", format="%Y-%m-%d")
    amounts = pd.to_numeric(raw["y"], errors="coerce").astype(float)
    faults: list[Fault] = []

    def note(rows: pd.Series, column: str, expected: str) -> None:
        for row in np.flatnonzero((rows & ~blank).to_numpy())[:100]:
            faults.append(Fault(int(row) + 2, column, repr(_shown(raw[column][row])), expected))

    if _BEYOND in raw.columns:
        more = ~raw[_BEYOND].map(_is_blank)
        note(more, _BEYOND, "as many values as the header names; 1.5 is not written 1,5")
    note(names.eq(""), "unique_id", "the name of a series")
    note(days.isna(), "ds", "a date like 2026-03-31")
    note(amounts.isna(), "y", "an amount used, such as 12 or 0.5")
    note(amounts.lt(0), "y", "0 or more: use is not negative")
    note(amounts.gt(MOST_AMOUNT), "y", f"at most {MOST_AMOUNT:g}")
    tiny = amounts.gt(0) & amounts.lt(LEAST_AMOUNT)
    note(tiny, "y", f"0, or at least {LEAST_AMOUNT:g}; a finer unit helps")
    good = ~blank & days.notna()
    if good.any():
        middle = days[good].sort_values().iloc[int(good.sum()) // 2]
        far = (days - middle).abs() > timedelta(days=366 * MOST_YEARS)
        note(far, "ds", f"a date within {MOST_YEARS} years of {middle:%Y-%m-%d}")
    clean = pd.DataFrame({"unique_id": names, "ds": days, "y": amounts})
    twice = pd.DataFrame({"name": names, "ds": written}).duplicated() & days.notna() & names.ne("")
    note(twice, "ds", "one row for each series and date; this one was given before")
    if faults:
        raise InputFaults(name, sorted(faults, key=lambda fault: fault.line))
    clean = clean[~blank]
    if not len(clean):
        raise Refused(f"{name}: the table has no rows; at least one was expected.")
    return clean


def _is_blank(value: object) -> bool:
    return value is None or value != value or (isinstance(value, str) and not value.strip())


def _shown(value: object) -> object:
    return value[:40] if isinstance(value, str) else value


def _weekly(name: str, clean: pd.DataFrame) -> SeriesTable:
    import pandas as pd

    days = clean["ds"]
    distinct = np.unique(days.to_numpy().astype("datetime64[D]"))
    notes: list[str] = []
    _refuse_months(name, distinct)
    weekdays = {day.weekday() for day in distinct.astype(object)}
    mondays = (days - pd.to_timedelta(days.dt.weekday, unit="D")).to_numpy().astype("datetime64[D]")
    first, last = mondays.min(), mondays.max()
    weeks = int((last - first).astype(int)) // 7 + 1
    if len(weekdays) > 1 and weeks > 2:
        if distinct[0] != first:
            notes.append(f"the part week before {first + 7} was left out")
            first = first + 7
        if distinct[-1] != last + 6:
            notes.append(f"the part week from {last} was left out")
            last = last - 7
        weeks = int((last - first).astype(int)) // 7 + 1
    names = sorted(set(clean["unique_id"]))
    row_of = {key: row for row, key in enumerate(names)}
    rows = clean["unique_id"].map(row_of).to_numpy()
    place = (mondays - first).astype(int) // 7
    inside = (place >= 0) & (place < weeks)
    values = np.zeros((len(names), weeks))
    np.add.at(values, (rows[inside], place[inside]), clean["y"].to_numpy()[inside])
    began = np.full(len(names), weeks)
    np.minimum.at(began, rows, np.maximum(place, 0))
    values[np.arange(weeks)[None, :] < began[:, None]] = np.nan
    given = np.zeros(values.shape, bool)
    given[rows[inside], place[inside]] = True
    empty = (~given & ~np.isnan(values)).sum(axis=1)
    if empty.any():
        many = "1 series" if (empty > 0).sum() == 1 else f"{(empty > 0).sum():,} of the series"
        said = "1 week" if empty.sum() == 1 else f"{empty.sum():,} weeks"
        notes.append(f"{said} of {many} without a row count as no use")
    history = History(
        tuple(names), first + 7 * np.arange(weeks), values, np.zeros(values.shape, bool)
    )
    return SeriesTable(history, tuple(notes))


def _refuse_months(name: str, distinct: Any) -> None:
    """Refuse dates that all stand at the same place of their month: a monthly table."""
    if len(distinct) < 3:
        return
    days: list[date] = distinct.astype(object).tolist()
    months = [day.year * 12 + day.month for day in days]
    firsts = len({day.day for day in days}) == 1
    ends = all((day + timedelta(days=1)).day == 1 for day in days)
    if (firsts or ends) and len(set(months)) == len(months):
        raise Refused(
            f"{name}: the dates are a month or more apart; weekly or finer dates were expected."
        )
