"""Rules about the severity of adverse events: grade against treatment, fatal grades against deaths."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from necrostats.registry.codebook import ADVERSE_EVENTS
from necrostats.registry.drafts import Draft, DraftTable, Flag

LOWEST_GRADE = {
    "transfusion": "II",
    "endoscopic": "IIIa",
    "radiological": "IIIa",
    "surgical": "IIIb",
    "organ_support": "IVa",
}
FATAL = (("agree_grade", "V"), ("asge_severity", "fatal"), ("clavien_grade", "V"))


def fatal_events(draft: Draft) -> Iterator[Flag]:
    """A fatal event in a patient not recorded as dead; a death from the procedure without a fatal event."""
    events, patients = draft["adverse_events"], draft["patients"]
    owner = draft.patients_of("adverse_events")
    alive = np.append(~patients.holds("vital_status", ["dead"]), False)[owner]
    for column, grade in FATAL:
        yield Flag(
            rule="FATAL_BUT_ALIVE",
            table="adverse_events",
            at=np.flatnonzero(events.kept & events.holds(column, [grade]) & alive),
            severity="asks",
            column=column,
            problem="is a fatal event, but the patient is not recorded as dead",
            remedy="Correct the grade, or the patient's vital_status and death_day.",
        )
    if events.given:
        fatal = events.kept & _is_fatal(events)
        has_one = np.bincount(owner[fatal], minlength=len(patients)) > 0
        yield Flag(
            rule="DEATH_WITHOUT_EVENT",
            table="patients",
            at=np.flatnonzero(patients.kept & patients.holds("death_cause", ["procedure"]) & ~has_one),
            severity="asks",
            column="death_cause",
            problem="is the cause of death, but no adverse event of the patient is fatal",
            remedy="Add the event with AGREE grade V, or correct the cause.",
        )


def _is_fatal(events: DraftTable) -> np.ndarray:
    return np.logical_or.reduce([events.holds(column, [grade]) for column, grade in FATAL])


def grade_against_treatment(draft: Draft) -> Iterator[Flag]:
    """An AGREE grade lower than the treatment the event needed implies."""
    events = draft["adverse_events"]
    grades = ADVERSE_EVENTS.column("agree_grade").codes
    for treatment, lowest in LOWEST_GRADE.items():
        lower = grades[: grades.index(lowest)]
        yield Flag(
            rule="GRADE_AND_TREATMENT",
            table="adverse_events",
            at=np.flatnonzero(
                events.kept & events.holds("treatment", [treatment]) & events.holds("agree_grade", lower)
            ),
            severity="asks",
            column="agree_grade",
            problem=f"is lower than AGREE gives an event with the treatment {treatment}: {lowest} or higher",
            remedy="Correct the grade or the treatment. AGREE IIIa and IIIb are not those of Clavien–Dindo.",
        )
