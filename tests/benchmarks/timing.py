"""How the benchmarks measure and print."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable


def say(what: str, figure: str) -> None:
    """One line: what was measured, and the figure."""
    print(f"{what:<82} {figure}", flush=True)


def best(run: Callable[[], object], times: int = 5) -> float:
    """The median of a few runs, in seconds, after one to warm up."""
    run()
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        run()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)
