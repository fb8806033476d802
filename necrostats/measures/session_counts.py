"""How many necrosectomies each course had when it ended, and who is at risk at which number.

Each necrosectomy of each course: its number, which instruments it names, and whether it was the last one needed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from necrostats.definitions.outcomes import Outcomes
from necrostats.errors import unknown_choice
from necrostats.measures.grouping import counted as counts
from necrostats.registry.codebook import INSTRUMENT_USES, NECROSECTOMIES
from necrostats.registry.findings import DUPLICATE_ROW
from necrostats.registry.tables import Registry
from necrostats.results import Note


@dataclass(frozen=True, kw_only=True, eq=False)
class CountedSessions:
    """Sessions at the end of each patient's course, the end, and whether it enters the risk set at all.

    `cause` is a place in `causes` counted from 1, or 0 for lost to view: the last of `causes` is to be seen
    unresolved on the horizon day.
    `stepped_back`, `lower_bounds` and `ends_open` count patients: those who leave before their last session, those of
    whom a session was set aside, and those of the latter whose end therefore has no session number.
    """

    sessions: np.ndarray
    cause: np.ndarray
    causes: tuple[str, ...]
    enters: np.ndarray
    stepped_back: int
    lower_bounds: int
    ends_open: int


def counted_sessions(registry: Registry, ends: Outcomes) -> CountedSessions:
    """How many necrosectomies each course had, by the rule of who is at risk at which number."""
    done, last_session = _necrosectomies(registry, ends)
    assessed = last_assessed(registry, ends) > last_session
    lower_bound = _sessions_set_aside(registry)
    under_treatment = (ends.cause == 0) & ~ends.at_horizon
    causes = (*ends.causes, not_resolved_within(ends.horizon))
    stepped_back = under_treatment & ~assessed & ~lower_bound
    sessions = done - stepped_back
    return CountedSessions(
        sessions=np.maximum(sessions, 0),
        cause=np.where(lower_bound, 0, np.where(ends.at_horizon, len(causes), ends.cause)),
        causes=causes,
        enters=sessions >= 0,
        stepped_back=int(np.count_nonzero(stepped_back & (sessions >= 0))),
        lower_bounds=int(np.count_nonzero(lower_bound)),
        ends_open=int(np.count_nonzero(lower_bound & ~under_treatment)),
    )


def not_resolved_within(horizon: int) -> str:
    """What the end of a patient is called who was seen unresolved on the horizon day."""
    return f"not resolved within {horizon} days"


def _necrosectomies(registry: Registry, ends: Outcomes) -> tuple[np.ndarray, np.ndarray]:
    """Each patient's necrosectomies up to the end, and the last day the last can be (day 0 if none)."""
    patient = registry.position("sessions")
    day = registry.sessions["day"].to_numpy(dtype=np.int64)
    kept = registry.sessions["session_type"].isin(NECROSECTOMIES).to_numpy() & (day <= ends.day[patient])
    done = np.bincount(patient[kept], minlength=len(registry.patients))
    last = np.zeros(len(registry.patients), dtype=np.int64)
    latest = registry.sessions["day_latest"].fillna(registry.sessions["day"]).to_numpy(dtype=np.int64)
    np.maximum.at(last, patient[kept], latest[kept])
    return done, last


def last_assessed(registry: Registry, ends: Outcomes) -> np.ndarray:
    """The day of the last scan with a size, or review with an answer, up to each patient's end; -1 if none."""
    last = np.full(len(registry.patients), -1, dtype=np.int64)
    for table, answer in (("scans", "long_mm"), ("reviews", "symptom_free")):
        patient = registry.position(table)
        day = registry.tables[table]["day"].to_numpy(dtype=np.int64)
        kept = (day <= ends.day[patient]) & registry.tables[table][answer].notna().to_numpy()
        np.maximum.at(last, patient[kept], day[kept])
    return last


def _sessions_set_aside(registry: Registry) -> np.ndarray:
    """Patients of whom a session row was set aside, so that the count of sessions is a lower bound.

    The list of what was set aside holds no day that could be relied on: the session may lie before the patient's end
    or after it. A word-for-word copy is no session lost.
    """
    aside = registry.set_aside
    lost = aside[(aside["table"] == "sessions") & (aside["scope"] == "row") & (aside["rule"] != DUPLICATE_ROW)]
    return registry.patients["patient_id"].astype(object).isin(lost["patient_id"]).to_numpy()


def session_notes(counted: CountedSessions) -> tuple[Note, ...]:
    """Who counts only in part."""
    back = counts(counted.stepped_back, "patient was", "patients were")
    partly = counts(counted.lower_bounds, "patient is", "patients are")
    said = {
        f"{back} last seen before anything showed whether the last session was enough, and left out of the risk set "
        "before it.": counted.stepped_back,
        f"{partly} counted only in part, since sessions were set aside: censored at the number of sessions known."
        f"{_open_ends(counted)}": counted.lower_bounds,
    }
    return tuple(Note(code="MISSING", text=text) for text, count in said.items() if count)


def _open_ends(counted: CountedSessions) -> str:
    if not counted.ends_open:
        return ""
    return (
        f" {counted.ends_open:,} of these had resolved or come to another end, which does not count: whether a session "
        "that was set aside lies before that end or after it is not known."
    )


CLASSES = tuple(code for code in INSTRUMENT_USES.column("instrument_class").codes if code not in ("other", "unknown"))
USED, NOT_USED, NOT_RECORDED = 1, 0, -1


@dataclass(frozen=True, kw_only=True, eq=False)
class Necrosectomies:
    """S necrosectomies up to the end of each patient's course, by patient and day.

    `session` and `patient` (S,) are row numbers, `number` counts the patient's necrosectomies from 1, `day` (S,).
    `enough` (S,): 1 resolved with no further necrosectomy, 0 not, -1 not known: the last one of a patient under
    treatment, with no scan or review after it.
    """

    session: np.ndarray
    patient: np.ndarray
    number: np.ndarray
    day: np.ndarray
    enough: np.ndarray


def necrosectomies(registry: Registry, ends: Outcomes) -> Necrosectomies:
    """The necrosectomies of every course, in order of patient and day."""
    patient = registry.position("sessions").astype(np.int64)
    day = registry.sessions["day"].to_numpy(dtype=np.int64)
    kept = np.flatnonzero(
        registry.sessions["session_type"].isin(NECROSECTOMIES).to_numpy() & (day <= ends.day[patient])
    )
    session = kept[np.lexsort((day[kept], patient[kept]))]
    whose, when = patient[session], day[session]
    first = np.searchsorted(whose, whose, side="left")
    last = np.append(whose[1:] != whose[:-1], True)[: whose.size]
    under_treatment = (ends.cause == 0) & ~ends.at_horizon
    unseen = last & under_treatment[whose] & (last_assessed(registry, ends)[whose] <= when)
    enough = np.where(unseen, -1, (last & (ends.cause[whose] == 1)).astype(np.int64))
    return Necrosectomies(
        session=session, patient=whose, number=np.arange(whose.size) - first + 1, day=when, enough=enough
    )


def check_class(instrument_class: str) -> str:
    """The class of instrument; ChoiceError if it is not one of the codebook's."""
    if instrument_class not in CLASSES:
        raise unknown_choice("instrument class", instrument_class, CLASSES)
    return instrument_class


def uses_of(registry: Registry, instrument_class: str) -> np.ndarray:
    """For each session (n,) whether it names a class of instrument: 1 yes, 0 no, -1 where it is not recorded.

    A session that names the class used it, whatever else it names. One without any instrument, or with an
    `unknown` one and not this class, may have used it.
    """
    named = registry.instrument_uses["instrument_class"].astype(object).to_numpy()
    session = registry.position("instrument_uses", "sessions")
    state = np.full(len(registry.sessions), NOT_RECORDED)
    state[session] = NOT_USED
    state[session[named == "unknown"]] = NOT_RECORDED
    state[session[named == check_class(instrument_class)]] = USED
    return state


def used_by_patient(patient: np.ndarray, uses: np.ndarray, patients: int) -> np.ndarray:
    """For each patient whether any of these sessions used it: 1, 0, or -1 where none did and one is not recorded."""
    ever = np.bincount(patient, weights=uses == USED, minlength=patients) > 0
    unsure = np.bincount(patient, weights=uses == NOT_RECORDED, minlength=patients) > 0
    return np.where(ever, USED, np.where(unsure, NOT_RECORDED, NOT_USED))
