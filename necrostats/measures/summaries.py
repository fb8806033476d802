"""Rows and tables of the Summary kind."""

from __future__ import annotations

import numpy as np
import pandas as pd

from necrostats.measures.grouping import Grouping
from necrostats.results import Summary


def summary_row(variable: str, group: int, measure: str, *, n: int, missing: int, **more) -> dict:
    """One row; `group` is a place in the grouping, and what is not given is blank."""
    blank = {"level": "", "events": pd.NA, "patients": pd.NA, "estimate": np.nan, "low": np.nan, "high": np.nan}
    return {"variable": variable, "group": group, "measure": measure, "n": n, "missing": missing, **blank, **more}


def share_row(variable: str, group: int, *, events: int, n: int, missing: int, **more) -> dict:
    """A row that says `events` of `n`."""
    share = events / n if n else np.nan
    return summary_row(variable, group, "share", events=events, n=n, missing=missing, estimate=share, **more)


def summary_table(rows: list[dict], groups: Grouping) -> pd.DataFrame:
    """The rows as a table with the columns of Summary, the groups in order with empty ones kept."""
    table = pd.DataFrame(rows, columns=list(Summary.columns))
    for name in ("events", "n", "missing", "patients"):
        table[name] = table[name].astype("Int64")
    for name in ("estimate", "low", "high"):
        table[name] = table[name].astype("float64")
    table["group"] = groups.column(table["group"].to_numpy(dtype=np.int64))
    return table
