"""How the benchmarks measure and print."""

from __future__ import annotations

import resource
import statistics
import time
from collections.abc import Callable
from pathlib import Path


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


def peak_memory() -> float:
    """The most memory this process has held, in MB; where the system tells, without that of the one that started it."""
    status = Path("/proc/self/status")
    if status.exists():
        return int(status.read_text().split("VmHWM:")[1].split()[0]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
