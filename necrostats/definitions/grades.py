"""Grades of adverse events as ordered data: three scales that share labels and not meanings.

AGREE IIIa and IIIb part an endoscopic or radiological treatment from a surgical one; Clavien–Dindo IIIa and IIIb part
treatment without general anaesthesia from treatment under it. A grade of one scale is never read as one of another.
The wordings are paraphrased from memory of the papers cited, not copied from them.

The Comprehensive Complication Index: all of a patient's complications in one number, 0 to 100.

Slankamenac K and others, Ann Surg 2013;258:1-7 (weights from memory). It is built on Clavien–Dindo grades; AGREE
grades carry the same labels with other meanings and must not be used for it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd

from necrostats.errors import unknown_choice
from necrostats.registry.tables import Registry


@dataclass(frozen=True, kw_only=True)
class GradingScale:
    """A scale: the column that holds it, each grade in order and its meaning, and where serious begins."""

    name: str
    column: str
    meanings: Mapping[str, str]
    serious_from: str
    reference: str

    @property
    def grades(self) -> tuple[str, ...]:
        """The grades from the mildest to the gravest."""
        return tuple(self.meanings)

    def at_least(self, grade: str) -> tuple[str, ...]:
        """That grade and every graver one; ChoiceError for a grade that the scale does not have."""
        if grade not in self.meanings:
            raise unknown_choice(f"{self.name} grade", grade, self.meanings)
        return self.grades[self.grades.index(grade) :]


AGREE = GradingScale(
    name="AGREE",
    column="agree_grade",
    meanings=MappingProxyType(
        {
            "I": "off the normal course, needing no more than simple drugs, a test or a short stay for observation",
            "II": "drugs beyond those, transfusion, or a longer stay or readmission",
            "IIIa": "an endoscopic or radiological intervention",
            "IIIb": "a surgical intervention",
            "IVa": "intensive care, one organ failing",
            "IVb": "intensive care, several organs failing",
            "V": "death",
        }
    ),
    serious_from="IIIa",
    reference="Nass et al., Gastrointest Endosc 2022;95:1078 (AGREE; from memory)",
)

ASGE = GradingScale(
    name="ASGE",
    column="asge_severity",
    meanings=MappingProxyType(
        {
            "mild": "the procedure given up, a consultation, or up to 3 unplanned nights",
            "moderate": "4 to 10 unplanned nights, one in intensive care, or a further procedure",
            "severe": "more than 10 unplanned nights, more than one in intensive care, surgery, or lasting disability",
            "fatal": "death",
        }
    ),
    serious_from="moderate",
    reference="Cotton et al., Gastrointest Endosc 2010;71:446 (ASGE lexicon; from memory)",
)

CLAVIEN_DINDO = GradingScale(
    name="Clavien–Dindo",
    column="clavien_grade",
    meanings=MappingProxyType(
        {
            "I": "off the normal course, needing no more than simple drugs, fluids or physiotherapy",
            "II": "other drugs, transfusion or parenteral nutrition",
            "IIIa": "an intervention without general anaesthesia",
            "IIIb": "an intervention under general anaesthesia",
            "IVa": "life-threatening, one organ failing",
            "IVb": "life-threatening, several organs failing",
            "V": "death",
        }
    ),
    serious_from="IIIa",
    reference="Dindo et al., Ann Surg 2004;240:205 (from memory)",
)

SCALES = {scale.name: scale for scale in (AGREE, ASGE, CLAVIEN_DINDO)}


def scale_named(scale: GradingScale | str) -> GradingScale:
    """A scale, or the one of that name; ChoiceError for a name that is not on the list."""
    if isinstance(scale, GradingScale):
        return scale
    if scale not in SCALES:
        raise unknown_choice("grading scale", scale, SCALES)
    return SCALES[scale]


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
