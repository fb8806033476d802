"""Rules about time zero: one index collection a patient, drained on day 0."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from necrostats.registry.codebook import DRAINAGES
from necrostats.registry.drafts import Draft, Flag, applied, heading


def marked(draft: Draft) -> Draft:
    """A patient's only collection with is_index left blank is taken for the index collection, and asked about."""
    collections = draft["collections"]
    if not collections.given or not heading(collections.raw, "is_index"):
        return draft
    owner = collections.cells["patient_id"].which
    lone = np.append(False, np.bincount(owner)[1:] == 1)[owner]
    at = np.flatnonzero(collections.kept & lone & ~collections.known("is_index"))
    flag = Flag(
        rule="INDEX_UNMARKED",
        table="collections",
        at=at,
        severity="asks",
        column="is_index",
        problem="nothing says that this is the index collection; as the patient's only one it is taken to be",
        remedy="Write yes under is_index.",
        value="",
    )
    cells = collections.cells["is_index"].with_value(at, 1.0)
    changed = replace(collections, cells={**collections.cells, "is_index": cells})
    return replace(applied(draft, [flag]), tables={**draft.tables, "collections": changed})


def one_index_collection(draft: Draft) -> Iterator[Flag]:
    """Exactly one index collection a patient: with none or two, nothing of the patient can be dated."""
    patients, collections = draft["patients"], draft["collections"]
    index = collections.kept & collections.yes("is_index")
    owner = draft.link("collections")
    count = np.bincount(owner[index], minlength=len(patients))
    yield Flag(
        rule="NO_INDEX",
        table="patients",
        at=np.flatnonzero(patients.kept & (count == 0)),
        severity="stops",
        column="patient_id",
        takes="row",
        problem="has no index collection that can be used",
        remedy="Mark the collection drained on day 0 with is_index yes, or mend its row.",
    )
    yield Flag(
        rule="TWO_INDEX",
        table="collections",
        at=np.flatnonzero(index & (np.append(count, 0)[owner] > 1)),
        severity="stops",
        column="is_index",
        takes="patient",
        problem="marks one of several index collections of one patient, who is set aside",
        remedy="Mark one collection a patient: the one drained on day 0.",
    )


def drained_on_day_0(draft: Draft) -> Iterator[Flag]:
    """The index drainage is day 0: a first drainage later stops the patient, none at all is asked about."""
    patients, sessions = draft["patients"], draft["sessions"]
    if not sessions.given:
        return
    first = _first_drainage(draft)
    incomplete = _has(draft, sessions.gone)
    late = patients.kept & (first > 0) & np.isfinite(first)
    yield Flag(
        rule="LATE_INDEX",
        table="patients",
        at=np.flatnonzero(late & ~incomplete),
        severity="stops",
        column="patient_id",
        takes="row",
        problem="has a first drainage after day 0, which is the day of the index drainage",
        remedy="Count every day of this patient from the first drainage, or add the drainage of day 0.",
    )
    yield Flag(
        rule="NO_INDEX_DRAINAGE",
        table="patients",
        at=np.flatnonzero(patients.kept & (np.isinf(first) | (late & incomplete))),
        severity="asks",
        column="patient_id",
        problem="has no session of type drainage on day 0",
        remedy="Add the index drainage to sessions, or say in your methods why it is not there.",
    )
    yield Flag(
        rule="INDEX_NOT_DRAINED",
        table="patients",
        at=np.flatnonzero(patients.kept & (first == 0) & ~_has(draft, _drains_index(draft))),
        severity="asks",
        column="patient_id",
        problem="was drained on day 0, but not in the index collection",
        remedy="Check is_index in collections, and collection_id in the session of day 0.",
    )


def _first_drainage(draft: Draft) -> np.ndarray:
    """The day (P,) of the first drainage in the file, set aside or not; infinity if there is none."""
    sessions, owner = draft["sessions"], draft.link("sessions")
    rows = (owner >= 0) & sessions.holds("session_type", DRAINAGES) & sessions.known("day")
    first = np.full(len(draft["patients"]), np.inf)
    np.minimum.at(first, owner[rows], sessions.numbers("day")[rows])
    return first


def _drains_index(draft: Draft) -> np.ndarray:
    """Sessions (N,) of day 0 that may have drained an index collection: the one they name, or a further one."""
    sessions, collections = draft["sessions"], draft["collections"]
    index = np.append(collections.yes("is_index"), True)[draft.link("sessions", "collection_id")]
    return (sessions.numbers("day") == 0) & (index | sessions.known("also_treated"))


def _has(draft: Draft, sessions: np.ndarray) -> np.ndarray:
    """Patients (P,) with at least one of some sessions."""
    owner = draft.link("sessions")[sessions]
    return np.bincount(owner[owner >= 0], minlength=len(draft["patients"])) > 0
