"""How each patient's course ended: resolved, a competing end, or last seen unresolved."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from necrostats.definitions.resolution import ResolutionDefinition
from necrostats.definitions.sizes import baseline_mm, counts_as_gone
from necrostats.definitions.symptom_reviews import reviewed_symptom_free
from necrostats.registry.codebook import NECROSECTOMIES
from necrostats.registry.tables import Registry

NEVER = np.int64(1 << 40)
_SPAN = np.int64(1 << 20)
_SHIFT = np.int64(1 << 16)

_DATED = (
    ("sessions", "day"), ("scans", "day"), ("reviews", "day"), ("adverse_events", "day"),
    ("other_interventions", "day"), ("stents", "placed_day"), ("stents", "removed_day"),
    ("collections", "detected_day"), ("collections", "baseline_scan_day"),
)  # fmt: skip

SURGERY = ("surgical_necrosectomy", "minimally_invasive_necrosectomy")


@dataclass(frozen=True, kw_only=True, eq=False)
class Outcomes:
    """One entry a patient, in the order of `registry.patients`.

    `day` (n,) is the day of the end; `cause` (n,) is 0 for last seen unresolved, else the place in `causes`
    counted from 1. `ranged` (n,) marks ends whose day is known only as a range; `unsized_scans` counts scans
    without a longest axis; `undated_collections` counts later collections without a day of detection; `seen_later`
    counts patients with a record after their last contact day;
    `without_baseline` counts collections of unknown size at baseline, where the definition asks for one.
    """

    day: np.ndarray
    cause: np.ndarray
    causes: tuple[str, ...]
    ranged: np.ndarray
    unsized_scans: int
    undated_collections: int
    seen_later: int
    without_baseline: int = 0


def outcomes(registry: Registry, definition: ResolutionDefinition) -> Outcomes:
    """How each patient's course ended under a definition, vectorised over patients.

    A day known as a range counts at its latest for resolution and at its earliest for a competing end.
    Resolution on the same day as a competing end counts as resolution: nothing came before it.
    """
    ends = _ends(registry, definition)
    last_seen = last_seen_days(registry)
    first = np.argmin(ends, axis=0)
    day = ends[first, np.arange(ends.shape[1])]
    horizon = definition.horizon_days
    ended = (day < NEVER) & (day <= horizon)
    return Outcomes(
        day=np.where(ended, day, np.minimum(last_seen, horizon)),
        cause=np.where(ended, first + 1, 0),
        causes=definition.causes,
        ranged=ended & _ranged(registry, day),
        seen_later=int(np.count_nonzero(last_records(registry) > _days(registry.patients, "last_contact_day"))),
        unsized_scans=int(registry.scans["long_mm"].isna().sum()),
        undated_collections=int(
            (registry.collections["detected_day"].isna() & ~registry.collections["is_index"].fillna(False)).sum()
        ),
        without_baseline=int(np.isnan(baseline_mm(registry)).sum()) if definition.share_of_baseline else 0,
    )


def first_days(registry: Registry, table: str, kept: np.ndarray, column: str = "day") -> np.ndarray:
    """The first day since the index drainage each patient has a row of `table` marked in `kept`; NEVER if none.

    What came before day 0 is prior treatment; a range of days that reaches past it counts from day 0.
    """
    first = np.full(len(registry.patients), NEVER)
    frame = registry.tables[table]
    kept = kept & frame[column].notna().to_numpy() & (_latest_days(frame, column) >= 0)
    np.minimum.at(first, registry.position(table)[kept], np.maximum(_days(frame, column)[kept], 0))
    return first


def resolution_days(registry: Registry, definition: ResolutionDefinition) -> np.ndarray:
    """The day of the first scan that documents resolution, for each patient; NEVER where none does."""
    patient, day = _clear_scan_days(registry, definition)
    if definition.symptom_free:
        again = further_treatment(registry)
        confirmed = reviewed_symptom_free(registry, patient, day, definition.review_within_days, again)
        patient, day = patient[confirmed], day[confirmed]
    first = np.full(len(registry.patients), NEVER)
    np.minimum.at(first, patient, day)
    return first


def further_treatment(registry: Registry) -> tuple[np.ndarray, np.ndarray]:
    """The row in patients and the day of every necrosectomy, surgery and percutaneous drain."""
    interventions = registry.other_interventions["kind"].isin([*SURGERY, "percutaneous_drain"]).to_numpy()
    chosen = (
        ("sessions", "day", registry.sessions["session_type"].isin(NECROSECTOMIES).to_numpy()),
        ("other_interventions", "day", interventions),
        ("stents", "placed_day", (registry.stents["stent_type"] == "percutaneous").to_numpy()),
    )
    patients = [registry.position(table)[kept] for table, _, kept in chosen]
    days = [_days(registry.tables[table], column)[kept] for table, column, kept in chosen]
    return np.concatenate(patients), np.concatenate(days)


def end_days(registry: Registry, end: str) -> np.ndarray:
    """The first day of "death", "surgery" or "percutaneous drain" of each patient, at its earliest; NEVER if none."""
    if end == "death":
        return _death_days(registry)
    kind = registry.other_interventions["kind"]
    if end == "surgery":
        return first_days(registry, "other_interventions", kind.isin(SURGERY).to_numpy())
    drain = first_days(registry, "other_interventions", (kind == "percutaneous_drain").to_numpy())
    return np.minimum(drain, _percutaneous_stents(registry))


def last_seen_days(registry: Registry) -> np.ndarray:
    """The last day each patient is known to have been under observation, no later than the data lock.

    A session, scan, review, stent, event or intervention after the last contact day, or a collection found then, is a
    later contact.
    """
    last = np.maximum(_days(registry.patients, "last_contact_day"), last_records(registry))
    return np.minimum(last, _days(registry.patients, "observed_days"))


def last_records(registry: Registry) -> np.ndarray:
    """The day of each patient's last dated record outside the table of patients; -1 if there is none."""
    last = np.full(len(registry.patients), -1, dtype=np.int64)
    for table, column in _DATED:
        day = registry.tables[table][column].fillna(-1).to_numpy(dtype=np.int64)
        np.maximum.at(last, registry.position(table), day)
    return last


def _ends(registry: Registry, definition: ResolutionDefinition) -> np.ndarray:
    competing = [end_days(registry, cause) for cause in definition.causes[1:]]
    return np.stack([resolution_days(registry, definition), *competing])


def _death_days(registry: Registry) -> np.ndarray:
    patients = registry.patients
    dead = (patients["vital_status"] == "dead").to_numpy() & patients["death_day"].notna().to_numpy()
    return np.where(dead, _days(patients, "death_day"), NEVER)


def _percutaneous_stents(registry: Registry) -> np.ndarray:
    percutaneous = (registry.stents["stent_type"] == "percutaneous").to_numpy()
    return first_days(registry, "stents", percutaneous, "placed_day")


def _clear_scan_days(registry: Registry, definition: ResolutionDefinition) -> tuple[np.ndarray, np.ndarray]:
    """(patient, day) of every scan day after the index drainage on which each collection known by then is small."""
    collection, day, is_scan, open_now = _collection_states(registry, definition)
    previous = np.concatenate([[0], open_now[:-1]])
    previous[np.flatnonzero(np.diff(collection, prepend=-1))] = 0
    patient = registry.position("collections")[collection].astype(np.int64)
    order = np.argsort(patient * _SPAN + day + _SHIFT, kind="stable")
    patient, day, is_scan = patient[order], day[order], is_scan[order]
    still_open = np.cumsum((open_now - previous)[order])
    key = patient * _SPAN + day
    last = np.flatnonzero(np.append(np.diff(key) != 0, True)) if key.size else np.empty(0, dtype=np.int64)
    starts = np.concatenate([[0], last[:-1] + 1]) if last.size else last
    scanned = np.logical_or.reduceat(is_scan, starts) if last.size else is_scan
    before = _open_before_patient(patient, still_open)
    clear = scanned & (still_open[last] == before[last]) & (day[last] > 0)
    return patient[last][clear], day[last][clear]


def _open_before_patient(patient: np.ndarray, still_open: np.ndarray) -> np.ndarray:
    """The running count as it stood before each patient's first row."""
    first = np.flatnonzero(np.diff(patient, prepend=-1))
    at_start = np.concatenate([[0], still_open])[first]
    return np.repeat(at_start, np.diff(np.append(first, patient.size)))


def _collection_states(registry: Registry, definition: ResolutionDefinition):
    """Detections and scans of collections in order: (collection, day, is a scan, 1 = open after it)."""
    scans = registry.scans
    sized = scans["long_mm"].notna().to_numpy()
    scanned = registry.position("scans", "collections")[sized].astype(np.int64)
    scan_day = _scan_days(registry)[sized]
    scan_open = (~counts_as_gone(registry, definition)[sized]).astype(np.int64)
    count = len(registry.collections)
    detected = _detected_days(registry)
    np.minimum.at(detected, scanned, scan_day)
    collection = np.concatenate([np.arange(count), scanned])
    day = np.concatenate([detected, scan_day])
    is_scan = np.concatenate([np.zeros(count, bool), np.ones(scanned.size, bool)])
    open_now = np.concatenate([np.ones(count, np.int64), scan_open])
    order = np.lexsort((open_now, is_scan, day, collection))
    return collection[order], day[order], is_scan[order], open_now[order]


def _scan_days(registry: Registry) -> np.ndarray:
    """The day of each scan, of a range the last day on which the patient was alive and before the data lock."""
    cap = np.minimum(_death_days(registry), _days(registry.patients, "observed_days"))[registry.position("scans")]
    first = _days(registry.scans, "day")
    return np.maximum(first, np.minimum(_latest_days(registry.scans, "day"), cap))


def _detected_days(registry: Registry) -> np.ndarray:
    """The day each collection joins the count; one without a day was there at the index drainage."""
    return registry.collections["detected_day"].fillna(0).to_numpy(dtype=np.int64).clip(-_SHIFT + 1, None)


def _ranged(registry: Registry, day: np.ndarray) -> np.ndarray:
    """Whether the day a course ended came from a record dated only to a range."""
    ranged = np.zeros(len(registry.patients), dtype=bool)
    for table, column in (("scans", "day"), ("other_interventions", "day")):
        frame = registry.tables[table]
        wide = (frame[column + "_latest"].notna() & (frame[column + "_latest"] != frame[column])).to_numpy(bool)
        position = registry.position(table)[wide]
        hit = (day[position] == _latest_days(frame, column)[wide]) | (day[position] == _days(frame, column)[wide])
        ranged[position[hit]] = True
    wide_death = registry.patients["death_day_latest"].notna().to_numpy()
    return ranged | (wide_death & (day == _days(registry.patients, "death_day")))


def _days(frame, column: str) -> np.ndarray:
    return frame[column].fillna(int(NEVER)).to_numpy(dtype=np.int64)


def _latest_days(frame, column: str) -> np.ndarray:
    return frame[column + "_latest"].fillna(frame[column]).fillna(int(NEVER)).to_numpy(dtype=np.int64)
