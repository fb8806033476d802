"""All of a patient's complications in one number: the Comprehensive Complication Index."""

from __future__ import annotations

import numpy as np
import pandas as pd

from necrostats.definitions.complications import REFERENCE, complication_index_of_patients
from necrostats.definitions.grades import CLAVIEN_DINDO
from necrostats.measures.adverse_event_choosing import whole_histories
from necrostats.measures.adverse_event_grades import two_scales_note
from necrostats.measures.grouping import Grouping, patient_groups
from necrostats.measures.phrases import counted
from necrostats.measures.summaries import summary_row, summary_table
from necrostats.measures.watching import NO_RECORD
from necrostats.registry.tables import Registry
from necrostats.results import Method, Note, Population, Summary

EVERYBODY, AFFECTED = "complication index", "complication index of those with an event"


def complication_index(registry: Registry, *, by: str | None = None, level: float = 0.95) -> Summary:
    """The Comprehensive Complication Index (0 to 100) of each patient: median and quartiles, from all recorded events.

    No event is 0, where somebody looked for events in at least one session; elsewhere it is not known. A patient with
    an event that has no Clavien–Dindo grade has no index (unless another is grade V) and is counted as missing. The
    second variable is conditional on an event. `by` is something recorded at the index drainage. Raises DesignError
    for a registry narrowed to a period: the index takes all events of a patient.
    """
    whole_histories(registry, "The complication index")
    groups = patient_groups(registry, by)
    affected, looked_at = _affected(registry), _looked_at(registry)
    index = complication_index_of_patients(registry).where(affected | looked_at)
    rows = [
        _row(variable, index[kept & (groups.codes == place)], place)
        for variable, kept in ((EVERYBODY, np.ones(affected.size, dtype=bool)), (AFFECTED, affected))
        for place in range(len(groups.labels))
    ]
    return Summary(
        title="Comprehensive Complication Index",
        table=summary_table(rows, groups),
        population=_population(registry, groups),
        method=Method(
            estimand="the complications of each patient in one number, 0 (none) to 100 (death)",
            estimator="half the root of the summed weights of all Clavien–Dindo grades; median and quartiles",
            interval="none: a description, not an inference",
            level=level,
            definition="all adverse events recorded of a patient, whatever the session or window; Clavien–Dindo grades "
            "only, AGREE grades are never used for it",
            references=(f"{REFERENCE} (weights from memory)", CLAVIEN_DINDO.reference),
        ),
        notes=(*_notes(registry, index, affected, looked_at), *two_scales_note(registry)),
    )


def _row(variable: str, index: pd.Series, group: int) -> dict:
    known = index.dropna().to_numpy(dtype=float)
    low, middle, high = np.quantile(known, [0.25, 0.5, 0.75]) if known.size else (np.nan,) * 3
    return summary_row(
        variable, group, "median", n=known.size, missing=len(index) - known.size, patients=known.size,
        estimate=middle, low=low, high=high,
    )  # fmt: skip


def _affected(registry: Registry) -> np.ndarray:
    """Patients (P,) with a recorded event."""
    return np.bincount(registry.position("adverse_events"), minlength=len(registry.patients)) > 0


def _looked_at(registry: Registry) -> np.ndarray:
    """Patients (P,) with a session in which somebody looked for events."""
    checked = registry.sessions["events_checked"].fillna(False).to_numpy(dtype=bool)
    return np.bincount(registry.position("sessions")[checked], minlength=len(registry.patients)) > 0


def _population(registry: Registry, groups: Grouping) -> Population:
    return Population(
        patients=len(registry.patients) - groups.left_out, left_out={"patients without a group": groups.left_out}
    )


def _notes(registry: Registry, index: pd.Series, affected: np.ndarray, looked_at: np.ndarray) -> tuple[Note, ...]:
    ungraded = int(registry.adverse_events["clavien_grade"].isna().sum())
    without = int(np.count_nonzero(affected & index.isna().to_numpy()))
    unknown = int(np.count_nonzero(~affected & ~looked_at))
    unchecked = int((~registry.sessions["events_checked"].fillna(False).astype(bool)).sum())
    events = counted(ungraded, "event has", "events have")
    have = counted(without, "patient has", "patients have")
    of = counted(unknown, "patient", "patients")
    sessions = counted(unchecked, "session", "sessions")
    said = {
        f"{events} no Clavien–Dindo grade, so {have} no index and {'is' if without == 1 else 'are'} counted as "
        "missing.": ungraded,
        f"{of} {NO_RECORD}: no index.": unknown,
        f"{sessions} {NO_RECORD}: the index may be too low.": unchecked,
    }  # fmt: skip
    return tuple(Note(code="MISSING", text=text) for text, count in said.items() if count)
