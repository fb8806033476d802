"""Age bands wide enough to show beside a case."""

from __future__ import annotations

import pandas as pd

EDGES = (0, 40, 60, 75, 200)
AGE_BANDS = ("under 40", "40–59", "60–74", "75 and over")


def age_band(age_years: pd.Series) -> pd.Series:
    """The band of each age in years; blank where the age is."""
    ages = age_years.astype("float64")
    return pd.cut(ages, bins=list(EDGES), right=False, labels=list(AGE_BANDS)).rename("age_band")
