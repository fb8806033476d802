"""How often the 95 % intervals of curves, restricted means, their differences and ratios hold the truth.

Run by hand in tests/: `python -m simulations.curve_coverage` writes curve_coverage.csv beside this file. Two groups of
one size and one truth: an event of two causes with constant hazards, on whole days, and an end of follow-up anywhere
between day 45 and day 300. The seed is fixed and belongs to the size of the groups. `no_limits` is the share of series
that gave no interval.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from necrostats.stats.curve_tests import gray_test_of, log_rank_of
from necrostats.stats.curves import CumulativeIncidence
from necrostats.stats.event_tables import EventTable, event_table
from necrostats.stats.incidence import aalen_johansen_of, kaplan_meier_of, quantile
from necrostats.stats.restricted_means import GroupFigures, heights, restricted_mean
from simulations.neighbours import differences, ratios
from simulations.tables import Cell, Limits, cells, portions, write
from simulations.two_causes import ends, truth

SEED = 20_260_714
REPLICATES, AT_ONCE = 4_000, 50
SIZES = (15, 40, 100)
DAY, TAU = 60, 90
HAZARDS = (0.016, 0.004)
TABLE = Path(__file__).with_suffix(".csv")


def simulate(patients: int, replicates: int = REPLICATES) -> list[Cell]:
    """Coverage of every interval at one size of group, its seed made from the size."""
    rng = np.random.default_rng([SEED, patients])
    return cells(patients, (dict(_limits(_series(rng, patients, size))) for size in portions(replicates, AT_ONCE)))


def _series(rng: np.random.Generator, patients: int, series: int) -> EventTable:
    """Counts of 2 × `series` groups; neighbours are the two groups of one series."""
    found = ends(rng, HAZARDS, np.arange(2 * series * patients))
    return event_table(found.time, found.cause, group=np.repeat(np.arange(2 * series), patients), causes=[1, 2])


def _limits(table: EventTable) -> Iterator[tuple[str, Limits]]:
    free, incidence = kaplan_meier_of(table), aalen_johansen_of(table)
    true, middle = truth(HAZARDS, np.arange(500)), quantile(free)
    yield "median time to any event", Limits(truth=float(np.argmax(true.free <= 0.5)), low=middle.low, high=middle.high)
    for name, curve, known in (("event-free share", free, true.free), ("incidence", incidence, true.first)):
        yield from _both(f"{name} at {DAY}", heights(curve, DAY), curve, known[DAY])
        yield from _both(f"restricted mean, {name}", restricted_mean(curve, TAU), curve, known[:TAU].sum())
    for name, test in (("log-rank test", log_rank_of), ("Gray's test", gray_test_of)):
        p = np.array([test([_pair(table, place)]).p_value for place in range(0, table.groups.size, 2)])
        yield f"{name}, no effect kept", Limits(truth=0.05, low=np.full(p.size, -np.inf), high=p)


def _pair(table: EventTable, place: int) -> EventTable:
    two = slice(place, place + 2)
    return EventTable(
        time=table.time,
        groups=table.groups[two],
        causes=table.causes,
        at_risk=table.at_risk[two],
        events=table.events[two],
        censored=table.censored[two],
    )


def _both(name: str, figures: GroupFigures, curve, true: float) -> Iterator[tuple[str, Limits]]:
    """The interval of each group, and those of the difference and of the ratio of neighbours."""
    cause = 0 if isinstance(curve, CumulativeIncidence) else None
    keep = ... if cause is None else (slice(None), cause)
    yield name, Limits(truth=float(true), low=figures.low[keep], high=figures.high[keep])
    yield f"difference in {name}", differences(figures, cause)
    yield f"ratio of {name}", ratios(figures, cause)


def main() -> None:
    """Write the table."""
    write(TABLE, (cell for patients in SIZES for cell in simulate(patients)))


if __name__ == "__main__":
    main()
