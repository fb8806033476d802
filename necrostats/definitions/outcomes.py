"""How each patient's course ended: resolved, a competing end, or last seen unresolved.

Which scans show a collection that counts as gone, by its longest axis and, if asked, its size at baseline.

Whether the review nearest to a scan found the patient free of symptoms.

How each collection's course ended: gone, a competing end of its patient, or last seen not yet gone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from necrostats.definitions.resolution import ResolutionDefinition
from necrostats.registry.codebook import NECROSECTOMIES
from necrostats.registry.tables import Registry

_NO_DAY = 1 << 16


def counts_as_gone(registry: Registry, definition: ResolutionDefinition) -> np.ndarray:
    """For each scan whether the collection on it is small enough (n,); one whose size is not known never is."""
    size = registry.scans["long_mm"].to_numpy(dtype=float)
    gone = np.ones(size.size, dtype=bool)
    if definition.size_mm is not None:
        gone &= _small(size, definition.size_mm, definition)
    if definition.share_of_baseline is not None:
        most = definition.share_of_baseline * baseline_mm(registry)
        gone &= _small(size, most[registry.position("scans", "collections")], definition)
    return gone


def baseline_mm(registry: Registry) -> np.ndarray:
    """The longest axis of each collection at baseline (n,), NaN where it is not known.

    As recorded of the collection; else on its last scan up to the index drainage; of a collection found later,
    on the scan that first showed its size.
    """
    recorded = registry.collections["long_mm"].to_numpy(dtype=float)
    late = (registry.collections["detected_day"] > 0).fillna(False).to_numpy(dtype=bool)
    found = np.where(late, _first_size(registry), _last_size_up_to_drainage(registry))
    return np.where(np.isnan(recorded), found, recorded)


def _small(size: np.ndarray, limit: np.ndarray | float, definition: ResolutionDefinition) -> np.ndarray:
    return size < limit if definition.strictly_below else size <= limit


def _last_size_up_to_drainage(registry: Registry) -> np.ndarray:
    day = _latest(registry)
    return _size_on(registry, day <= 0, -day)


def _first_size(registry: Registry) -> np.ndarray:
    day = _latest(registry)
    return _size_on(registry, np.ones(day.size, dtype=bool), day)


def _size_on(registry: Registry, kept: np.ndarray, order: np.ndarray) -> np.ndarray:
    """For each collection the size on its first kept scan in order, the largest where two stand level."""
    size = registry.scans["long_mm"].to_numpy(dtype=float)
    kept = kept & ~np.isnan(size)
    collection = registry.position("scans", "collections")[kept].astype(np.int64)
    ranked = np.lexsort((-size[kept], order[kept], collection))
    whose, first = np.unique(collection[ranked], return_index=True)
    found = np.full(len(registry.collections), np.nan)
    found[whose] = size[kept][ranked][first]
    return found


def _latest(registry: Registry) -> np.ndarray:
    scans = registry.scans
    return scans["day_latest"].fillna(scans["day"]).fillna(_NO_DAY).to_numpy(dtype=np.int64)


_FAR = np.int64(1 << 50)


def reviewed_symptom_free(
    registry: Registry, patient: np.ndarray, day: np.ndarray, within: int, treated: tuple[np.ndarray, np.ndarray]
) -> np.ndarray:
    """Whether the review nearest to each (patient, day) (n,), at most `within` days off, found no symptoms.

    Only reviews with a known answer since the index drainage count, and after the scan only those before any further
    treatment: `treated` are the rows in patients and the days of each. Of two as near, the later. Two answers on one
    day are free of symptoms only if both are.
    """
    reviews, free = _reviews(registry)
    at = patient * _SPAN + day
    place = np.searchsorted(reviews, at, side="right")
    before, after = _at(reviews, place - 1), _at(reviews, place)
    is_before = (at - before < after - at) | _between(treated, at, after)
    nearest = np.where(is_before, before, after)
    answer = np.append(free, False)[np.where(is_before, place - 1, place)]
    return answer & (np.abs(nearest - at) <= within)


def _reviews(registry: Registry) -> tuple[np.ndarray, np.ndarray]:
    """One key a patient and day in order, and whether every answer of that day is free of symptoms."""
    frame = registry.reviews
    day = frame["day_latest"].fillna(frame["day"]).to_numpy(dtype=np.int64)
    known = frame["symptom_free"].notna().to_numpy() & (day >= 0)
    key = (registry.position("reviews").astype(np.int64) * _SPAN + day)[known]
    free = frame["symptom_free"].fillna(False).to_numpy(dtype=bool)[known]
    days, place = np.unique(key, return_inverse=True)
    return days, np.bincount(place, weights=~free, minlength=days.size) == 0


def _at(keys: np.ndarray, place: np.ndarray) -> np.ndarray:
    """The keys at places that may lie off either end, where nothing is near."""
    padded = np.concatenate([[-_FAR], keys, [_FAR]])
    return padded[place + 1]


def _between(treated: tuple[np.ndarray, np.ndarray], first: np.ndarray, last: np.ndarray) -> np.ndarray:
    """Whether the patient was treated after `first` and no later than `last`."""
    keys = np.sort(treated[0].astype(np.int64) * _SPAN + treated[1])
    return np.searchsorted(keys, last, side="right") > np.searchsorted(keys, first, side="right")


NEVER = np.int64(1 << 40)
_SPAN = np.int64(1 << 20)
_SHIFT = np.int64(1 << 16)

_DATED = (
    ("sessions", "day"),
    ("scans", "day"),
    ("reviews", "day"),
    ("adverse_events", "day"),
    ("other_interventions", "day"),
    ("stents", "placed_day"),
    ("stents", "removed_day"),
    ("collections", "detected_day"),
    ("collections", "baseline_scan_day"),
)

SURGERY = ("surgical_necrosectomy", "minimally_invasive_necrosectomy")
_KINDS = {"surgery": SURGERY, "percutaneous drain": ("percutaneous_drain",)}


@dataclass(frozen=True, kw_only=True, eq=False)
class Outcomes:
    """One entry a patient, in the order of `registry.patients`.

    `day` (n,) is the day of the end; `cause` (n,) is 0 for last seen unresolved, else the place in `causes`
    counted from 1. `ranged` (n,) marks ends whose day is known only as a range; `unsized_scans` counts scans
    without a longest axis; `undated_collections` counts later collections without a day of detection; `seen_later`
    counts patients with a record after their last contact day; `at_horizon` (n,) marks patients seen unresolved on
    the last day that counts, day `horizon`, if anything could have shown them resolved;
    `unassessed` (n,) marks patients last seen unresolved of whom nothing shows whether they were resolved;
    `without_baseline` counts collections of unknown size at baseline, where the definition asks for one,
    and `interventions_set_aside` rows that could not be read; `never_recorded` names ends that no row of
    other_interventions is, though it has rows of other kinds.
    """

    day: np.ndarray
    cause: np.ndarray
    causes: tuple[str, ...]
    ranged: np.ndarray
    at_horizon: np.ndarray
    unassessed: np.ndarray
    horizon: int
    unsized_scans: int
    undated_collections: int
    seen_later: int
    without_baseline: int = 0
    interventions_set_aside: int = 0
    never_recorded: tuple[str, ...] = ()


def outcomes(registry: Registry, definition: ResolutionDefinition) -> Outcomes:
    """How each patient's course ended under a definition, vectorised over patients.

    A day known as a range counts at its latest for resolution and at its earliest for a competing end.
    Death on the day of the confirming scan is death; resolution on the day of another competing end is resolution.
    """
    ends = _ends(registry, definition)
    unseen = unassessed(registry, definition)
    last_seen = last_seen_days(registry)
    first = np.argmin(2 * ends - _goes_first(definition), axis=0)
    day = ends[first, np.arange(ends.shape[1])]
    horizon = definition.horizon_days
    ended = (day < NEVER) & (day <= horizon)
    return Outcomes(
        day=np.where(ended, day, np.minimum(last_seen, horizon)),
        cause=np.where(ended, first + 1, 0),
        causes=definition.causes,
        ranged=ended & _ranged(registry, day),
        at_horizon=~ended & ~unseen & (last_seen >= horizon),
        unassessed=~ended & unseen,
        horizon=horizon,
        seen_later=int(np.count_nonzero(last_records(registry) > _days(registry.patients, "last_contact_day"))),
        unsized_scans=int(registry.scans["long_mm"].isna().sum()),
        undated_collections=int(
            (registry.collections["detected_day"].isna() & ~registry.collections["is_index"].fillna(False)).sum()
        ),
        without_baseline=int(np.isnan(baseline_mm(registry)).sum()) if definition.share_of_baseline else 0,
        interventions_set_aside=_rows_set_aside(registry, "other_interventions"),
        never_recorded=tuple(end for end in definition.causes if _never_recorded(registry, end)),
    )


def _never_recorded(registry: Registry, end: str) -> bool:
    """Whether other interventions are recorded, and never one of the kinds of this end."""
    kinds, seen = _KINDS.get(end, ()), registry.other_interventions["kind"]
    return bool(kinds) and seen.notna().any() and not seen.isin(kinds).any()


def _rows_set_aside(registry: Registry, table: str) -> int:
    return int(((registry.set_aside["table"] == table) & (registry.set_aside["scope"] == "row")).sum())


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


def unassessed(registry: Registry, definition: ResolutionDefinition) -> np.ndarray:
    """Patients (n,) of whom nothing shows whether they were resolved.

    They lack a scan after day 0 that shows a size, or an answered review where one is asked; and no scan after day 0
    showed a collection too large, no review symptoms.
    """
    scans, reviews = registry.scans, registry.reviews
    scanned = (scans["long_mm"].notna() & (scans["day"] > 0)).fillna(False).to_numpy(dtype=bool)
    found = _with_any(registry, "scans", scanned)
    too_large = _with_any(registry, "scans", scanned & _too_large(registry, definition))
    if not definition.symptom_free:
        return ~(found | too_large)
    answered = (reviews["symptom_free"].notna() & (reviews["day"] >= 0)).fillna(False).to_numpy(dtype=bool)
    unwell = (reviews["symptom_free"].eq(False) & (reviews["day"] > 0)).fillna(False).to_numpy(dtype=bool)
    found &= _with_any(registry, "reviews", answered)
    return ~(found | too_large | _with_any(registry, "reviews", unwell))


def _too_large(registry: Registry, definition: ResolutionDefinition) -> np.ndarray:
    """For each scan whether its size is known to be more than counts as gone (n,)."""
    comparable = registry.scans["long_mm"].notna().to_numpy()
    if definition.share_of_baseline is not None:
        comparable &= ~np.isnan(baseline_mm(registry))[registry.position("scans", "collections")]
    return comparable & ~counts_as_gone(registry, definition)


def _with_any(registry: Registry, table: str, kept: np.ndarray) -> np.ndarray:
    return np.bincount(registry.position(table)[kept], minlength=len(registry.patients)) > 0


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


def _goes_first(definition: ResolutionDefinition) -> np.ndarray:
    """1 for the end that stands when two fall on one day, 0 for the others, one a row of `_ends`."""
    return np.array([[cause == "death"] for cause in definition.causes], dtype=np.int64)


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


@dataclass(frozen=True, kw_only=True, eq=False)
class CollectionOutcomes:
    """One entry a collection, in the order of `registry.collections`.

    `start` (n,) is the day its count begins: the index drainage, or the day it was found if later. `days` (n,) run
    from there to the end of its course; `cause` (n,) is 0 for last seen not gone, else the place in `causes` from 1.
    `patient` (n,) is the row of its patient. `followed` (n,): observed for any time from its start on.
    """

    start: np.ndarray
    days: np.ndarray
    cause: np.ndarray
    causes: tuple[str, ...]
    patient: np.ndarray
    followed: np.ndarray


def collection_outcomes(registry: Registry, definition: ResolutionDefinition) -> CollectionOutcomes:
    """The end of each collection's course: the first scan on which it counts as gone, confirmed as the definition asks.

    Competing ends are those of its patient. A day known as a range counts at its latest for resolution and at its
    earliest for a competing end. The horizon runs from the collection's own start.
    """
    patient = registry.position("collections").astype(np.int64)
    detected = registry.collections["detected_day"].fillna(0).to_numpy(dtype=np.int64)
    start = np.maximum(detected, 0)
    others = [end_days(registry, cause)[patient] for cause in definition.causes[1:]]
    days = np.stack([_gone_days(registry, definition, start), *others])
    first = np.argmin(days, axis=0)
    day = days[first, np.arange(patient.size)]
    last = start + definition.horizon_days
    seen = np.minimum(last_seen_days(registry)[patient], last)
    ended = (day < NEVER) & (day <= last)
    end = np.where(ended, day, seen)
    return CollectionOutcomes(
        start=start,
        days=np.maximum(end - start, 0),
        cause=np.where(ended, first + 1, 0),
        causes=definition.causes,
        patient=patient,
        followed=end > start,
    )


def _gone_days(registry: Registry, definition: ResolutionDefinition, start: np.ndarray) -> np.ndarray:
    """The day of the first scan after its start that documents a collection as gone (n,); NEVER where none does."""
    scans = registry.scans
    day = scans["day_latest"].fillna(scans["day"]).fillna(0).to_numpy(dtype=np.int64)
    collection = registry.position("scans", "collections").astype(np.int64)
    gone = counts_as_gone(registry, definition) & (day > start[collection])
    if definition.symptom_free:
        whose = registry.position("scans").astype(np.int64)
        gone &= reviewed_symptom_free(registry, whose, day, definition.review_within_days, further_treatment(registry))
    first = np.full(len(registry.collections), NEVER)
    np.minimum.at(first, collection[gone], day[gone])
    return first
