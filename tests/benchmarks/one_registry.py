"""Time and peak memory of reading, checking and every measure on one registry: run by run.py in its own process."""

from __future__ import annotations

import resource
import sys
import time


def main(source: str, name: str) -> None:
    """Print a line for the check and one for each measure."""
    from necrostats import measures
    from necrostats.registry.loading import read_registry

    start = time.perf_counter()
    registry = read_registry(source)
    _say(f"{name}: read and check", start)
    whole = time.perf_counter()
    for measure in measures.__all__:
        start = time.perf_counter()
        getattr(measures, measure)(registry)
        _say(f"{name}: {measure}", start)
    _say(f"{name}: all measures", whole)


def _say(what: str, start: float) -> None:
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{what:<78} {time.perf_counter() - start:.2f} s, peak memory so far {peak:,.0f} MB", flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
