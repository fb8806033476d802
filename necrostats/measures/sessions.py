"""How many sessions it takes: the incidence of resolution by necrosectomy session, with competing ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from necrostats.definitions.outcomes import Outcomes, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.curves import incidence
from necrostats.measures.grouping import Grouping, patient_groups
from necrostats.measures.phrases import counted as counts
from necrostats.measures.resolution import INTERVAL, REFERENCES, competing, record_notes
from necrostats.registry.codebook import NECROSECTOMIES
from necrostats.registry.tables import Registry
from necrostats.results import Curves, Method, Note, Population

NAMED_SESSIONS = tuple(range(9))
_REPEATED_ROW = "REPEATED_ROW"


@dataclass(frozen=True, kw_only=True, eq=False)
class CountedSessions:
    """Sessions at the end of each patient's course, the end, and whether it enters the risk set at all."""

    sessions: np.ndarray
    cause: np.ndarray
    enters: np.ndarray
    stepped_back: int
    lower_bounds: int


def sessions_to_resolution(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
    up_to: int = NAMED_SESSIONS[-1],
) -> Curves:
    """Probability of being resolved within k necrosectomies, k = 0, 1, 2 …, deaths and interventions competing.

    k = 0 means drainage alone was enough. A patient still under treatment after k sessions is at risk at k only if a
    scan or review after session k showed whether it was enough; otherwise the patient leaves before k. A patient some
    of whose sessions were set aside is censored at the sessions that are known.
    """
    groups = patient_groups(registry, by)
    ends = outcomes(registry, definition)
    counted = counted_sessions(registry, ends)
    entered = Grouping(labels=groups.labels, codes=np.where(counted.enters, groups.codes, -1))
    landmarks = tuple(range(up_to + 1))
    curve = incidence(
        counted.sessions, counted.cause, entered, ends.causes, axis="sessions", landmarks=landmarks, level=level
    )
    return Curves(
        title="Sessions to documented resolution",
        table=curve.table,
        medians=curve.medians,
        landmarks=landmarks,
        population=Population(
            patients=int(np.count_nonzero(entered.codes >= 0)),
            left_out={
                "patients without a group": groups.left_out,
                "patients with no scan or review after the index drainage": int(np.count_nonzero(~counted.enters)),
            },
        ),
        method=Method(
            estimand=f"probability of being resolved within k necrosectomies, with {competing(ends)} competing",
            estimator="Aalen–Johansen on the session number; a patient under treatment is at risk at k only if "
            "something after session k showed whether it was enough",
            interval=INTERVAL,
            level=level,
            definition=definition.sentence(),
            references=(*REFERENCES, *filter(None, [definition.reference])),
        ),
        notes=(*curve.notes, *session_notes(counted), *record_notes(ends)),
    )


def counted_sessions(registry: Registry, ends: Outcomes) -> CountedSessions:
    """How many necrosectomies each course had, by the rule of who is at risk at which number."""
    done, last_session = _necrosectomies(registry, ends)
    assessed = last_assessed(registry, ends) > last_session
    lower_bound = _sessions_set_aside(registry)
    under_treatment = ends.cause == 0
    stepped_back = under_treatment & ~assessed & ~lower_bound
    sessions = done - stepped_back
    return CountedSessions(
        sessions=np.maximum(sessions, 0),
        cause=np.where(lower_bound, 0, ends.cause),
        enters=sessions >= 0,
        stepped_back=int(np.count_nonzero(stepped_back & (sessions >= 0))),
        lower_bounds=int(np.count_nonzero(lower_bound)),
    )


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
    """Patients of whom a session row was set aside, so that the count of sessions is a lower bound."""
    aside = registry.set_aside
    lost = aside[(aside["table"] == "sessions") & (aside["scope"] == "row") & (aside["rule"] != _REPEATED_ROW)]
    return registry.patients["patient_id"].astype(object).isin(lost["patient_id"]).to_numpy()


def session_notes(counted: CountedSessions) -> tuple[Note, ...]:
    """Who counts only in part."""
    back = counts(counted.stepped_back, "patient was", "patients were")
    partly = counts(counted.lower_bounds, "patient is", "patients are")
    said = {
        f"{back} last seen before anything showed whether the last session was enough, and left out of the risk set "
        "before it.": counted.stepped_back,
        f"{partly} counted only in part, since sessions were set aside: censored at the number of sessions known.":
            counted.lower_bounds,
    }  # fmt: skip
    return tuple(Note(code="MISSING", text=text) for text, count in said.items() if count)
