"""Which scans show a collection that counts as gone, by its longest axis and, if asked, its size at baseline."""

from __future__ import annotations

import numpy as np

from necrostats.definitions.resolution import ResolutionDefinition
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
