"""The forecast handed to another engine (dask, ray, spark) through fugue.

What many series say together is learnt here, once; each series is then forecast by itself
wherever it lands, so the result does not depend on how the engine deals them out. Imports fugue
and pandas when called.
"""

from __future__ import annotations

import os
import sys
from base64 import b64decode, b64encode
from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from stock.demand.forecast import Learned, forecast
from stock.demand.known import Floats, History
from stock.errors import Refused, WrongUsage

ENGINES: Final = ("dask", "ray", "spark")
_SERIES_PER_PART: Final = 1000


def forecast_on(
    engine: Any,
    history: History,
    weeks: int,
    levels: Sequence[float],
    learned: Learned,
) -> list[dict[str, Any]]:
    """Forecast the series of ``history`` on ``engine``; rows as :func:`rows_of` gives them.

    Args:
        engine: ``dask``, ``ray``, ``spark``, or a fugue execution engine already begun.

    Raises:
        WrongUsage: A name that is none of these.
        Refused: The engine is not installed.
    """
    if isinstance(engine, str) and engine not in (*ENGINES, "native"):
        raise WrongUsage(f"There is no engine {engine!r}; choose from {', '.join(ENGINES)}.")
    import pandas as pd

    try:
        from fugue.dataframe.api import as_pandas
        from fugue.workflow.api import transform

        if isinstance(engine, str) and engine in ENGINES:
            __import__({"spark": "pyspark"}.get(engine, engine))
            __import__(f"fugue_{engine}")
            if engine == "spark":
                os.environ.setdefault("PYSPARK_PYTHON", sys.executable)
    except ImportError as missing:
        raise Refused(
            f"Engine {engine} is not installed ({missing.name}): pip install 'stock[{engine}]'."
        ) from None

    parts = len(history.keys) // _SERIES_PER_PART + 1
    table = pd.DataFrame(
        {
            "part": np.arange(len(history.keys)) % parts,
            "key": list(history.keys),
            "use": [_written(row) for row in history.values],
        }
    )
    found = as_pandas(
        transform(
            table,
            _forecast_part,
            schema="key:str,kind:str,model:str,weekly:str,totals:str",
            params={
                "mondays": history.mondays.astype("datetime64[D]").astype(int).tolist(),
                "weeks": weeks,
                "levels": list(levels),
                "learned": learned,
            },
            partition={"by": ["part"]},
            engine=None if engine == "native" else engine,
        )
    )
    return sorted((_row_of(row, levels) for row in found.to_dict("records")), key=_item)


def _forecast_part(
    rows: list[dict[str, Any]], mondays: list[int], weeks: int, levels: list[float], learned: Any
) -> list[dict[str, Any]]:
    """Forecast one part of the series; runs on the engine's workers."""
    values = np.array([_read(row["use"]) for row in rows])
    history = History(
        tuple(row["key"] for row in rows),
        np.array(mondays, "datetime64[D]"),
        values,
        np.zeros(values.shape, bool),
    )
    seen = forecast(history, weeks, learned=learned)
    totals = seen.quantile(levels, weeks) if levels else np.zeros((len(values), 0))
    return [
        {
            "key": key,
            "kind": seen.classes[row],
            "model": seen.models[row],
            "weekly": _written(seen.weekly_mean[row]),
            "totals": _written(totals[row]),
        }
        for row, key in enumerate(seen.keys)
    ]


def _row_of(row: dict[str, Any], levels: Sequence[float]) -> dict[str, Any]:
    weekly = _read(row["weekly"])
    totals = _read(row["totals"])
    return {
        "item": row["key"],
        "class": row["kind"],
        "model": row["model"],
        "weekly": weekly.tolist(),
        "total": {
            "mean": float(weekly.sum()),
            "quantiles": {
                f"{level:g}": float(total) for level, total in zip(levels, totals, strict=True)
            },
        },
    }


def _written(numbers: Floats) -> str:
    """Numbers as text that every engine carries without loss."""
    return b64encode(np.ascontiguousarray(numbers).tobytes()).decode("ascii")


def _read(text: str) -> Floats:
    found: Floats = np.frombuffer(b64decode(text))
    return found


def _item(row: dict[str, Any]) -> str:
    return str(row["item"])
