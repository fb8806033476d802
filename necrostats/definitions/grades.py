"""Grades of adverse events as ordered data: three scales that share labels and not meanings.

AGREE IIIa and IIIb part an endoscopic or radiological treatment from a surgical one; Clavien–Dindo IIIa and IIIb part
treatment without general anaesthesia from treatment under it. A grade of one scale is never read as one of another.
The wordings are paraphrased from memory of the papers cited, not copied from them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from necrostats.errors import unknown_choice


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
