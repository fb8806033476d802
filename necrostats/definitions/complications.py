"""The Comprehensive Complication Index: all of a patient's complications in one number, 0 to 100.

Slankamenac K and others, Ann Surg 2013;258:1-7 (weights from memory). It is built on Clavien–Dindo grades; AGREE
grades carry the same labels with other meanings and must not be used for it.
"""

from __future__ import annotations

from collections.abc import Iterable
from types import MappingProxyType

import numpy as np
import pandas as pd

from necrostats.errors import unknown_choice
from necrostats.registry.tables import Registry

REFERENCE = "Slankamenac et al., Ann Surg 2013;258:1-7"
WEIGHTS = MappingProxyType({"I": 300, "II": 1750, "IIIa": 2750, "IIIb": 4550, "IVa": 7200, "IVb": 8550})
DEATH = "V"
HIGHEST = 100.0


def comprehensive_complication_index(grades: Iterable[str]) -> float:
    """The index of one patient from the Clavien–Dindo grades of all complications: √Σw / 2, at most 100.

    No complication is 0; grade V is 100 whatever else happened. ChoiceError for a grade that is not on the list.
    """
    listed = list(grades)
    for grade in listed:
        if grade != DEATH and grade not in WEIGHTS:
            raise unknown_choice("Clavien–Dindo grade", grade, (*WEIGHTS, DEATH))
    return _index(sum(WEIGHTS.get(grade, 0) for grade in listed), DEATH in listed)


def complication_index_of_patients(registry: Registry) -> pd.Series:
    """The index of each patient from the recorded adverse events, in the order of `registry.patients`.

    Blank where an event of the patient has no Clavien–Dindo grade (its share is unknown), unless another is grade V.
    Patients without a recorded event are 0: whether somebody looked is for the measure that uses this to say.
    """
    patient, people = registry.position("adverse_events"), len(registry.patients)
    grade = registry.adverse_events["clavien_grade"].astype(object).to_numpy()[patient >= 0]
    patient = patient[patient >= 0]
    weight = np.bincount(patient, weights=[WEIGHTS.get(each, 0) for each in grade], minlength=people)
    ungraded = np.bincount(patient, weights=pd.isna(grade).astype(float), minlength=people) > 0
    died = np.bincount(patient, weights=[float(each == DEATH) for each in grade], minlength=people) > 0
    known = [_index(w, dead) for w, dead in zip(weight, died, strict=True)]
    index = np.where(ungraded & ~died, np.nan, known)
    return pd.Series(index, name="complication_index", dtype=float)


def _index(weight: float, died: bool) -> float:
    return HIGHEST if died else min(HIGHEST, float(np.sqrt(weight)) / 2)
