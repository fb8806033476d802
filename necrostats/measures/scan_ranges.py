"""Between which two scans each course was resolved: what is known of the day, and no more."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from necrostats.definitions.outcomes import Outcomes
from necrostats.definitions.resolution import ResolutionDefinition
from necrostats.definitions.sizes import counts_as_gone
from necrostats.registry.tables import Registry

ONWARDS = np.inf


@dataclass(frozen=True, kw_only=True, eq=False)
class ScanRanges:
    """One entry a patient, in the order of `registry.patients`: resolved within (left, right].

    `left` (n,) is the day of the last scan on which a collection was still seen, before the end of the course (0, the
    index drainage, if there is none); `right` (n,) the day of the scan that documented resolution, infinite where none
    did. `unscanned` counts the courses without any such scan.
    """

    left: np.ndarray
    right: np.ndarray
    unscanned: int


def scan_ranges(registry: Registry, ends: Outcomes, definition: ResolutionDefinition) -> ScanRanges:
    """The ranges of resolution; a scan dated to a range counts at its earliest on the left, at its latest on the right.

    A scan that shows nothing left but is not followed by a symptom-free review narrows nothing: it says neither.
    """
    resolved = ends.cause == 1
    patient = registry.position("scans").astype(np.int64)
    scans = registry.scans
    first = scans["day"].fillna(0).to_numpy(dtype=np.int64)
    latest = scans["day_latest"].fillna(scans["day"]).fillna(0).to_numpy(dtype=np.int64)
    seen = scans["long_mm"].notna().to_numpy() & ~counts_as_gone(registry, definition) & (first > 0)
    before = np.where(resolved[patient], latest < ends.day[patient], first <= ends.day[patient])
    left = np.zeros(len(registry.patients))
    np.maximum.at(left, patient[seen & before], first[seen & before].astype(float))
    return ScanRanges(
        left=left, right=np.where(resolved, ends.day.astype(float), ONWARDS),
        unscanned=int(np.count_nonzero((left == 0) & ~resolved)),
    )  # fmt: skip


def never_resolved(registry: Registry, ends: Outcomes, horizon: int) -> np.ndarray:
    """For courses that ended otherwise, the day up to which they count as not resolved (n,): the lock or the horizon.

    Somebody who died or was operated on does not resolve afterwards; leaving them in keeps the share that of all
    patients, with those ends competing, instead of the share had they not happened.
    """
    lock = registry.patients["observed_days"].fillna(0).to_numpy(dtype=np.int64)
    return np.maximum(np.minimum(lock, horizon), ends.day).astype(float)


def middles(ranges: ScanRanges) -> np.ndarray:
    """The middle of each range (n,), in whole days rounded up; infinite where it is open."""
    return np.ceil((ranges.left + ranges.right) / 2)
