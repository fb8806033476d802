"""Each necrosectomy of each course: its number, which instruments it names, and whether it was the last one needed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from necrostats.definitions.outcomes import Outcomes
from necrostats.errors import unknown_choice
from necrostats.measures.session_counts import last_assessed
from necrostats.registry.codebook import INSTRUMENT_USES, NECROSECTOMIES
from necrostats.registry.tables import Registry

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
    unseen = last & (ends.cause[whose] == 0) & (last_assessed(registry, ends)[whose] <= when)
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
