"""How each collection's course ended: gone, a competing end of its patient, or last seen not yet gone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from necrostats.definitions.outcomes import NEVER, end_days, further_treatment, last_seen_days
from necrostats.definitions.resolution import ResolutionDefinition
from necrostats.definitions.sizes import counts_as_gone
from necrostats.definitions.symptom_reviews import reviewed_symptom_free
from necrostats.registry.tables import Registry


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
        gone &= reviewed_symptom_free(
            registry, whose, day, definition.review_within_days, further_treatment(registry)
        )
    first = np.full(len(registry.collections), NEVER)
    np.minimum.at(first, collection[gone], day[gone])
    return first
