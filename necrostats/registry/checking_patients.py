"""Rules about one patient: alive or dead, until when, how many sessions, entered once."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from necrostats.registry.codebook import MOST_LIKELY_SESSIONS
from necrostats.registry.drafts import Draft, DraftTable, Flag


def life_and_death(draft: Draft) -> Iterator[Flag]:
    """Dead if and only if there is a day of death; the last contact not after it, nor after the data lock."""
    patients = draft["patients"]
    dead = patients.holds("vital_status", ["dead"])
    died, contact, lock = (patients.numbers(name) for name in ("death_day", "last_contact_day", "observed_days"))
    locked = "Correct the day, or observed_days: the days from index drainage to the data lock."
    yield _row(patients, "DEATH_WITHOUT_DAY", dead & np.isnan(died), "vital_status", "has no day of death",
               "Give death_day, or correct vital_status.")  # fmt: skip
    yield _row(patients, "DAY_WITHOUT_DEATH", ~dead & ~np.isnan(died), "death_day",
               "is the day of death of a patient who is not recorded as dead",
               "Correct vital_status, or take death_day away.")  # fmt: skip
    yield _row(patients, "AFTER_DEATH", contact > patients.latest("death_day"), "last_contact_day",
               "lies after the patient's death", "Correct last_contact_day or death_day.")  # fmt: skip
    yield _row(patients, "AFTER_LOCK", contact > lock, "last_contact_day", "lies after observed_days", locked)
    yield _row(patients, "AFTER_LOCK", died > lock, "death_day", "lies after observed_days", locked)


def _row(table: DraftTable, rule: str, broken: np.ndarray, column: str, problem: str, remedy: str) -> Flag:
    return Flag(
        rule=rule, table=table.table.name, at=np.flatnonzero(table.kept & broken), severity="stops", column=column,
        takes="row", problem=problem, remedy=remedy,
    )  # fmt: skip


def many_sessions(draft: Draft) -> Iterator[Flag]:
    """More sessions than a course of treatment usually takes."""
    patients, sessions = draft["patients"], draft["sessions"]
    count = np.bincount(draft.link("sessions")[sessions.kept], minlength=len(patients))
    at = np.flatnonzero(patients.kept & (count > MOST_LIKELY_SESSIONS))
    yield Flag(
        rule="MANY_SESSIONS",
        table="patients",
        at=at,
        severity="asks",
        column="patient_id",
        problem=np.array([f"has {number} sessions" for number in count[at]], dtype=object),
        remedy=f"More than {MOST_LIKELY_SESSIONS} is unusual: are they all sessions, and all this patient's?",
    )


def twins(draft: Draft) -> Iterator[Flag]:
    """Two patients of the same age, sex, aetiology, onset and days of sessions: the same one entered twice?"""
    signs = signs_of_patients(draft)
    yield twin_flag(signs.index.to_numpy()[signs.duplicated(keep=False).to_numpy()])


def twin_flag(at: np.ndarray) -> Flag:
    """Patients `at` who seem to be entered twice."""
    return Flag(
        rule="SAME_PATIENT_TWICE",
        table="patients",
        at=at,
        severity="asks",
        column="patient_id",
        problem="has the age, sex, aetiology and days of sessions of another patient",
        remedy="If it is one patient under two ids, keep one. Both are counted until then.",
    )


def signs_of_patients(draft: Draft) -> pd.Series:
    """By row in patients, a number that only patients entered twice would share; none for those with little to tell."""
    patients, sessions = draft["patients"], draft["sessions"]
    alike = pd.DataFrame({name: patients.texts(name) for name in ("age_years", "sex", "aetiology", "onset_day")})
    alike["count"] = np.bincount(draft.link("sessions")[sessions.kept], minlength=len(patients))
    alike["pattern"] = _pattern(draft)
    several = alike[["age_years", "sex", "aetiology"]].notna().all(axis=1) & (alike["count"] >= 2) & patients.kept
    return pd.util.hash_pandas_object(alike[several], index=False, categorize=True)


def _pattern(draft: Draft) -> np.ndarray:
    """For each patient, a number that is the same where the days of the sessions are the same, in any order."""
    sessions = draft["sessions"]
    rows = np.flatnonzero(sessions.kept)
    days = pd.util.hash_array(sessions.numbers("day")[rows])
    pattern = np.zeros(len(draft["patients"]), dtype=np.uint64)
    np.add.at(pattern, draft.link("sessions")[rows], days)
    return pattern
