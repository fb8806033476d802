"""Whether the review nearest to a scan found the patient free of symptoms."""

from __future__ import annotations

import numpy as np

from necrostats.registry.tables import Registry

_SPAN = np.int64(1 << 20)
_FAR = np.int64(1 << 50)


def reviewed_symptom_free(
    registry: Registry, patient: np.ndarray, day: np.ndarray, within: int, treated: tuple[np.ndarray, np.ndarray]
) -> np.ndarray:
    """Whether the review nearest to each (patient, day) (n,), at most `within` days off, found no symptoms.

    Only reviews with a known answer since the index drainage count; of two as near, the later. Two answers on one day
    are free of symptoms only if both are. A review after the scan confirms nothing if the patient was treated again
    in between: `treated` are the rows in patients and the days of every further treatment.
    """
    reviews, free = _reviews(registry)
    at = patient * _SPAN + day
    place = np.searchsorted(reviews, at, side="right")
    before, after = _at(reviews, place - 1), _at(reviews, place)
    is_before = at - before < after - at
    nearest = np.where(is_before, before, after)
    answer = np.append(free, False)[np.where(is_before, place - 1, place)]
    return answer & (np.abs(nearest - at) <= within) & (is_before | ~_between(treated, at, nearest))


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
