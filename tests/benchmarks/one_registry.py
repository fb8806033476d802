"""Time and peak memory of reading, checking and the review's measures on one registry: run by run.py, one a process."""

from __future__ import annotations

import sys
import time

from timing import peak_memory, say

MEASURES = (
    "activity",
    "case_mix",
    "sessions_to_resolution",
    "time_to_resolution",
    "adverse_event_rates",
    "event_grades",
    "debridement_yield",
    "data_completeness",
)


def main(source: str, name: str) -> None:
    """Print a line for the check, one for each measure of the quarterly review, and one for all."""
    from necrostats import measures
    from necrostats.registry.loading import read_registry

    start = time.perf_counter()
    registry = read_registry(source)
    _say(f"{name}: read and check", start)
    whole = time.perf_counter()
    for measure in MEASURES:
        start = time.perf_counter()
        getattr(measures, measure)(registry)
        _say(f"{name}: {measure}", start)
    _say(f"{name}: all measures", whole)


def _say(what: str, start: float) -> None:
    say(what, f"{time.perf_counter() - start:.2f} s, peak memory so far {peak_memory():,.0f} MB")


if __name__ == "__main__":
    main(*sys.argv[1:])
