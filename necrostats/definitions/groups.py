"""Extent class of a collection from quadrants, solid share and infection.

Baroud and others, Gastrointest Endosc 2023;97:300 (rule as stated there; read in summary, not in full).

Age bands wide enough to show beside a case.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from necrostats.registry.tables import Registry

REFERENCE = "Baroud et al., Gastrointest Endosc 2023;97:300"
_INFECTED = {"confirmed": 1.0, "suspected": 0.0, "none": 0.0}
EXTENT_CLASSES = ("low", "high", "unclassified")


def extent_class(quadrants, solid_percent, infected) -> np.ndarray:
    """Extent classes (n,) from quadrants (n,), percent necrosis (n,) and infection (n,), 1, 0 or NaN; None if unknown.

    Low: at most 2 quadrants and at most 30 %. High: 3 or 4 quadrants, or 2 with at least 30 %, or 1 with more than
    60 % and infection. What the rule leaves open (2 quadrants at exactly 30 %, 1 quadrant with 31–60 % or with more
    and no infection) is "unclassified"; where something the rule needs is not recorded there is no class.
    """
    quadrants, solid, infected = (np.asarray(each, float) for each in (quadrants, solid_percent, infected))
    low = (quadrants <= 2) & (solid <= 30)
    high = (quadrants >= 3) | ((quadrants == 2) & (solid >= 30)) | ((quadrants == 1) & (solid > 60) & (infected == 1))
    needs_infection = (quadrants == 1) & (solid > 60) & np.isnan(infected)
    unknown = np.isnan(quadrants) | ((quadrants <= 2) & np.isnan(solid)) | needs_infection
    classes = np.select([low & ~high, high & ~low], EXTENT_CLASSES[:2], EXTENT_CLASSES[2]).astype(object)
    return np.where(unknown, None, classes)


def extent_of_patients(registry: Registry) -> pd.Series:
    """The extent class of each patient's index collection, in the order of `registry.patients`."""
    index = registry.collections["is_index"].fillna(False).to_numpy(dtype=bool)
    of_patient = np.full((2, len(registry.patients)), np.nan)
    position = registry.position("collections")[index]
    for place, column in enumerate(("quadrants", "solid_percent")):
        of_patient[place, position] = registry.collections[column].to_numpy(dtype=float, na_value=np.nan)[index]
    infected = registry.patients["infection"].astype(object).map(_INFECTED).to_numpy(dtype=float)
    classes = extent_class(of_patient[0], of_patient[1], infected)
    return pd.Series(pd.Categorical(classes, categories=EXTENT_CLASSES), name="extent_class")


EDGES = (0, 40, 60, 75, 200)
AGE_BANDS = ("under 40", "40–59", "60–74", "75 and over")


def age_band(age_years: pd.Series) -> pd.Series:
    """The band of each age in years; blank where the age is."""
    ages = age_years.astype("float64")
    return pd.cut(ages, bins=list(EDGES), right=False, labels=list(AGE_BANDS)).rename("age_band")
