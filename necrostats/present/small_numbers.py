"""Where numbers are too small: no rate below 5 patients, a faint curve below 10 at risk, no mean of a handful."""

from __future__ import annotations

import pandas as pd

FEWEST_FOR_A_RATE = 5
FEWEST_AT_RISK = 10
FEWEST_SESSIONS_FOR_A_MEAN, FEWEST_PATIENTS_FOR_A_MEAN = 5, 3
TOO_FEW = "too few"
NOBODY = "nobody at risk"
NO_VALUES = "no values"
NOT_DETERMINED = "not determined"


def _few_patients(table: pd.DataFrame) -> pd.Series:
    """Whether a row's variable and group has between 1 and 4 patients, in whatever unit the row itself is."""
    patients = table.loc[table["unit"].astype(object) == "patients", ["variable", "group", "n"]]
    few = patients[(patients["n"] > 0) & (patients["n"] < FEWEST_FOR_A_RATE)]
    named = set(zip(few["variable"].astype(object), few["group"].astype(object), strict=True))
    keys = zip(table["variable"].astype(object), table["group"].astype(object), strict=True)
    return pd.Series([key in named for key in keys], index=table.index, dtype=bool)


def too_few_for_a_rate(table: pd.DataFrame) -> pd.Series:
    """Rows of a Rates table that may be listed but not given as a rate."""
    own = (table["per"] == 1) & (table["n"] > 0) & (table["n"] < FEWEST_FOR_A_RATE)
    return own | _few_patients(table)


def too_few_to_summarise(table: pd.DataFrame) -> pd.Series:
    """Rows of a Summary table that have values, but too few for a share, a median or a mean of yields."""
    few = (table["n"] > 0) & (table["n"] < FEWEST_FOR_A_RATE)
    is_mean = table["measure"].astype(object) == "geometric mean"
    with_yield = table["n"] - table["events"].fillna(0)
    short = (with_yield < FEWEST_SESSIONS_FOR_A_MEAN) | (table["patients"] < FEWEST_PATIENTS_FOR_A_MEAN)
    return few | (is_mean & (table["n"] > 0) & short)
