"""What counts as an adverse event of a session: the window, the grade, and which events a figure counts.

Three scales share labels and not meanings. AGREE IIIa and IIIb part an endoscopic or radiological treatment from a
surgical one; Clavien–Dindo IIIa and IIIb part treatment without general anaesthesia from treatment under it. A grade of
one scale is never read as one of another. The wordings are paraphrased from memory of the papers cited, not copied.

The Comprehensive Complication Index takes all of a patient's complications in one number, 0 to 100 (Slankamenac K and
others, Ann Surg 2013;258:1-7, weights from memory). It is built on Clavien–Dindo grades; AGREE grades carry the same
labels with other meanings and must not be used for it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd

from necrostats.errors import unknown_choice
from necrostats.registry.codebook import ADVERSE_EVENTS
from necrostats.registry.tables import (
    Registry,
)


@dataclass(frozen=True, kw_only=True)
class EventWindow:
    """Events from the session's day to `days` after it, both included.

    `during_only` keeps those that happened during the session; `until_stent_out` runs, instead of `days`, to the day
    the patient's last stent came out (or the last contact, while one is in).
    """

    name: str
    days: int = 0
    during_only: bool = False
    until_stent_out: bool = False

    def sentence(self) -> str:
        """The window in words, for a title or a methods paragraph."""
        if self.during_only:
            return "during a session"
        if self.until_stent_out:
            return "from a session until the last stent is out"
        return f"during a session or up to {self.days} day{'' if self.days == 1 else 's'} after it"


DURING = EventWindow(name="during", during_only=True)
ONE_DAY = EventWindow(name="24 hours", days=1)
FOURTEEN_DAYS = EventWindow(name="14 days", days=14)
THIRTY_DAYS = EventWindow(name="30 days", days=30)
UNTIL_STENT_OUT = EventWindow(name="until stent out", until_stent_out=True)

WINDOWS = {window.name: window for window in (DURING, ONE_DAY, FOURTEEN_DAYS, THIRTY_DAYS, UNTIL_STENT_OUT)}


def window_named(window: EventWindow | str) -> EventWindow:
    """A window, or the one of that name; ChoiceError for a name that is not on the list."""
    if isinstance(window, EventWindow):
        return window
    if window not in WINDOWS:
        raise unknown_choice("window", window, WINDOWS)
    return WINDOWS[window]


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


INDEX_REFERENCE = "Slankamenac et al., Ann Surg 2013;258:1-7"
INDEX_WEIGHTS = MappingProxyType({"I": 300, "II": 1750, "IIIa": 2750, "IIIb": 4550, "IVa": 7200, "IVb": 8550})
DEATH_GRADE = "V"
HIGHEST_INDEX = 100.0


def comprehensive_complication_index(grades: Iterable[str]) -> float:
    """The index of one patient from the Clavien–Dindo grades of all complications: √Σw / 2, at most 100.

    No complication is 0; grade V is 100 whatever else happened. ChoiceError for a grade that is not on the list.
    """
    listed = list(grades)
    for grade in listed:
        if grade != DEATH_GRADE and grade not in INDEX_WEIGHTS:
            raise unknown_choice("Clavien–Dindo grade", grade, (*INDEX_WEIGHTS, DEATH_GRADE))
    return _index_of(sum(INDEX_WEIGHTS.get(grade, 0) for grade in listed), DEATH_GRADE in listed)


def complication_index_of_patients(registry: Registry) -> pd.Series:
    """The index of each patient from the recorded adverse events, in the order of `registry.patients`.

    Blank where an event of the patient has no Clavien–Dindo grade (its share is unknown), unless another is grade V.
    Patients without a recorded event are 0: whether somebody looked is for the measure that uses this to say.
    """
    patient, people = registry.position("adverse_events"), len(registry.patients)
    grade = registry.adverse_events["clavien_grade"].astype(object).to_numpy()[patient >= 0]
    patient = patient[patient >= 0]
    weight = np.bincount(patient, weights=[INDEX_WEIGHTS.get(each, 0) for each in grade], minlength=people)
    ungraded = np.bincount(patient, weights=pd.isna(grade).astype(float), minlength=people) > 0
    died = np.bincount(patient, weights=[float(each == DEATH_GRADE) for each in grade], minlength=people) > 0
    known = [_index_of(w, dead) for w, dead in zip(weight, died, strict=True)]
    index = np.where(ungraded & ~died, np.nan, known)
    return pd.Series(index, name="complication_index", dtype=float)


def _index_of(weight: float, died: bool) -> float:
    return HIGHEST_INDEX if died else min(HIGHEST_INDEX, float(np.sqrt(weight)) / 2)


ANY = "any adverse event"
EVENT_TYPES = ADVERSE_EVENTS.column("event_type").codes
ATTRIBUTIONS = ADVERSE_EVENTS.column("attribution").codes
SERIOUS = "serious"


@dataclass(frozen=True, kw_only=True, eq=False)
class ChosenEvents:
    """Which events (E,) count, how many lack what it takes to say, and the choice in words (with a leading comma)."""

    counts: np.ndarray
    ungraded: int
    unattributed: int
    words: str

    def left_out(self) -> dict[str, int]:
        """The events that cannot be placed, by reason."""
        return {
            "events without a grade on that scale": self.ungraded,
            "events of which the attribution is not recorded": self.unattributed,
        }


def chosen_events(
    registry: Registry, scale: GradingScale, grade_from: str | None, attribution_from: str | None, within: np.ndarray
) -> ChosenEvents:
    """The events of that grade or graver, put down to the treatment that firmly or more.

    `grade_from` may be "serious". `within` (E,) marks the events that would count: only of these is it said how many
    lack a grade or an attribution. ChoiceError for a grade or attribution that is not on the list.
    """
    events = registry.adverse_events
    grade = scale.serious_from if grade_from == SERIOUS else grade_from
    kept, ungraded = _graded_from(events[scale.column], None if grade is None else scale.at_least(grade), within)
    firm, unattributed = _graded_from(events["attribution"], _at_least(attribution_from), within)
    return ChosenEvents(
        counts=kept & firm,
        ungraded=ungraded,
        unattributed=unattributed,
        words=_words_of_choice(scale, grade, attribution_from),
    )


def of_type(registry: Registry, variable: str) -> np.ndarray:
    """Which events (E,) are of a type, or of any."""
    types = registry.adverse_events["event_type"]
    return np.ones(len(types), dtype=bool) if variable == ANY else (types == variable).to_numpy(dtype=bool)


def of_types(registry: Registry, variables: Sequence[str]) -> np.ndarray:
    """Which events (E,) are of any of several types."""
    return np.logical_or.reduce([of_type(registry, variable) for variable in variables])


def known_types(event_type: str | Sequence[str] | None, otherwise: tuple[str, ...]) -> tuple[str, ...]:
    """The types asked for, or others where none was; ChoiceError for one that is not on the list."""
    if event_type is None:
        return otherwise
    asked = (event_type,) if isinstance(event_type, str) else tuple(dict.fromkeys(event_type))
    for each in asked:
        if each not in (ANY, *EVENT_TYPES):
            raise unknown_choice("event type", each, (ANY, *EVENT_TYPES))
    return asked


def _graded_from(values, kept: tuple[str, ...] | None, within: np.ndarray) -> tuple[np.ndarray, int]:
    if kept is None:
        return np.ones(len(values), dtype=bool), 0
    blank = values.isna().to_numpy() & within
    return values.isin(kept).to_numpy(dtype=bool), int(np.count_nonzero(blank))


def _at_least(attribution: str | None) -> tuple[str, ...] | None:
    """That attribution and every firmer one; the codebook lists the firmest first."""
    if attribution is None:
        return None
    if attribution not in ATTRIBUTIONS:
        raise unknown_choice("attribution", attribution, ATTRIBUTIONS)
    return ATTRIBUTIONS[: ATTRIBUTIONS.index(attribution) + 1]


def _words_of_choice(scale: GradingScale, grade: str | None, attribution: str | None) -> str:
    graded = f", {scale.name} grade {grade} or graver" if grade else ""
    return graded + (f", attribution {attribution} or firmer" if attribution else "")
