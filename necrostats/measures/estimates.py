"""Rows and tables of the Estimates kind."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd

from necrostats.measures.grouping import ALL
from necrostats.results import Estimates, Note

ALIKE = "there is one patient only, or all are alike in it"
BAND = "there is one patient only, all are alike in it, or the band does not pass one half"


def estimate_row(measure: str, variable: str, *, unit: str, of: str, n: int, estimate: float, **more) -> dict:
    """One row; `group`, `events`, `low` and `high` are blank where they are not given."""
    blank = {"group": ALL, "events": pd.NA, "low": np.nan, "high": np.nan}
    given = blank | more
    return {
        "measure": measure, "variable": variable, "group": given["group"], "unit": unit, "of": of,
        "events": given["events"], "n": n, "estimate": estimate, "conf_low": given["low"], "conf_high": given["high"],
    }  # fmt: skip


def estimate_table(rows: list[dict], *, groups: Iterable[str] = (ALL,)) -> pd.DataFrame:
    """The rows as a table with the columns of Estimates: measures and variables in their order, all groups kept."""
    table = pd.DataFrame(rows, columns=list(Estimates.columns))
    for name in ("events", "n"):
        table[name] = table[name].astype("Int64")
    for name in ("estimate", "conf_low", "conf_high"):
        table[name] = table[name].astype("float64")
    orders = {name: dict.fromkeys(table[name]) for name in ("measure", "variable")} | {"group": groups}
    for name, order in orders.items():
        table[name] = pd.Categorical(table[name], categories=list(order), ordered=True)
    return table


def without_limits(table: pd.DataFrame, why: str = ALIKE, *, named_by: str = "variable") -> tuple[Note, ...]:
    """A note on the figures that have an estimate and no limit on either side, by their `named_by` and group."""
    bare = table[table["estimate"].notna() & table["conf_low"].isna() & table["conf_high"].isna()]
    if bare.empty:
        return ()
    listed = "; ".join(
        f"{name} ({', '.join(rows['group'].astype(str))})" for name, rows in bare.groupby(named_by, observed=True)
    )
    return (Note(code="NO_LIMITS", text=f"No limits for {listed}: {why}."),)
