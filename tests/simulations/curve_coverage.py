"""How often the 95 % intervals of curves, restricted means and their differences hold the truth.

Run by hand: `python tests/simulations/curve_coverage.py` writes curve_coverage.csv beside this file.
Two groups of one size and one truth: an event of two causes with constant hazards, on whole days, and an end of
follow-up anywhere between day 45 and day 300. The seed is fixed and belongs to the size of the groups. A limit that
is not reached counts as holding the truth on its side; `no_limits` is the share of series that gave no interval.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator
from dataclasses import asdict, dataclass, fields
from pathlib import Path

import numpy as np

from necrostats.stats.curves import CumulativeIncidence, Survival
from necrostats.stats.differences import heights
from necrostats.stats.event_tables import EventTable, event_table
from necrostats.stats.gray import gray_test_of
from necrostats.stats.group_figures import GroupFigures
from necrostats.stats.incidence import aalen_johansen_of, kaplan_meier_of, quantile
from necrostats.stats.log_rank import log_rank_of
from necrostats.stats.restricted_means import restricted_mean

SEED = 20_260_714
REPLICATES, AT_ONCE = 4_000, 50
SIZES = (15, 40, 100)
DAY, TAU = 60, 90
HAZARDS = (0.016, 0.004)
Z = 1.959963984540054
TABLE = Path(__file__).with_suffix(".csv")


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One interval at one size: the share of intervals that held the truth, and of series that gave none."""

    patients: int
    figure: str
    truth: float
    coverage: float
    no_limits: float
    intervals: int


@dataclass(frozen=True, kw_only=True)
class Limits:
    """Limits of many series, and the truth they should hold."""

    truth: float
    low: np.ndarray
    high: np.ndarray

    @property
    def held(self) -> np.ndarray:
        """Yes and no, or NaN where there is no interval."""
        none = np.isnan(self.low) & np.isnan(self.high)
        low, high = np.nan_to_num(self.low, nan=-np.inf), np.nan_to_num(self.high, nan=np.inf)
        return np.where(none, np.nan, (low <= self.truth + 1e-9) & (self.truth - 1e-9 <= high))


def simulate(patients: int, replicates: int = REPLICATES) -> list[Cell]:
    """Coverage of every interval at one size of group, its seed made from the size."""
    rng = np.random.default_rng([SEED, patients])
    held: dict[str, list[np.ndarray]] = {}
    truths: dict[str, float] = {}
    for start in range(0, replicates, AT_ONCE):
        table = _series(rng, patients, min(AT_ONCE, replicates - start))
        for figure, limits in _limits(table):
            held.setdefault(figure, []).append(limits.held)
            truths[figure] = limits.truth
    return [_cell(patients, figure, truths[figure], np.concatenate(each)) for figure, each in held.items()]


def _cell(patients: int, figure: str, truth: float, held: np.ndarray) -> Cell:
    return Cell(
        patients=patients, figure=figure, truth=round(truth, 6), coverage=round(float(np.nanmean(held)), 4),
        no_limits=round(float(np.isnan(held).mean()), 4), intervals=int(np.count_nonzero(~np.isnan(held))),
    )  # fmt: skip


def _series(rng: np.random.Generator, patients: int, series: int) -> EventTable:
    """Counts of 2 × `series` groups; neighbours are the two groups of one series."""
    size = 2 * series * patients
    first, second = (np.ceil(rng.exponential(1 / hazard, size)) for hazard in HAZARDS)
    both = np.minimum(first, second)
    end = rng.integers(45, 301, size)
    cause = np.where(both > end, 0, np.where(first <= second, 1, 2))
    return event_table(np.minimum(both, end), cause, group=np.repeat(np.arange(2 * series), patients), causes=[1, 2])


def _limits(table: EventTable) -> Iterator[tuple[str, Limits]]:
    free, incidence = kaplan_meier_of(table), aalen_johansen_of(table)
    days = np.arange(TAU + 1)
    alive, shares = _true_curves(days)
    middle = quantile(free)
    yield "median time to any event", Limits(
        truth=float(np.argmax(_true_curves(np.arange(500))[0] <= 0.5)), low=middle.low, high=middle.high
    )
    for name, curve, true in (("event-free share", free, alive), ("incidence", incidence, shares)):
        yield from _both(f"{name} at {DAY}", _first_cause(heights(curve, DAY), curve), true[DAY])
        yield from _both(f"restricted mean, {name}", _first_cause(restricted_mean(curve, TAU), curve), true[:TAU].sum())
    for name, test in (("log-rank test", _log_rank), ("Gray's test", gray_test_of)):
        p = np.array([test([_pair(table, place)]).p_value for place in range(0, table.groups.size, 2)])
        yield f"{name}, no effect kept", Limits(truth=0.05, low=np.full(p.size, -np.inf), high=p)


def _log_rank(tables: list[EventTable]):
    return log_rank_of(tables)


def _pair(table: EventTable, place: int) -> EventTable:
    two = slice(place, place + 2)
    return EventTable(
        time=table.time, groups=table.groups[two], causes=table.causes, at_risk=table.at_risk[two],
        events=table.events[two], censored=table.censored[two],
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class _Figures:
    """Estimates, standard errors and limits of many groups (G,)."""

    estimate: np.ndarray
    error: np.ndarray
    low: np.ndarray
    high: np.ndarray
    largest: float


def _first_cause(figures: GroupFigures, curve: Survival | CumulativeIncidence) -> _Figures:
    keep = (slice(None), 0) if isinstance(curve, CumulativeIncidence) else ...
    return _Figures(
        estimate=figures.estimate[keep], error=figures.std_error[keep], low=figures.low[keep],
        high=figures.high[keep], largest=figures.largest,
    )  # fmt: skip


def _both(name: str, figures: _Figures, truth: float) -> Iterator[tuple[str, Limits]]:
    """The interval of each group, and that of the difference of neighbours, as `difference` makes it."""
    yield name, Limits(truth=float(truth), low=figures.low, high=figures.high)
    gap = figures.estimate[::2] - figures.estimate[1::2]
    half = Z * np.hypot(figures.error[::2], figures.error[1::2])
    half = np.where(half > 0, half, np.nan)
    yield f"difference in {name}", Limits(truth=0.0, low=gap - half, high=gap + half)


def _true_curves(days: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The share free of events just after each day, and with an event of the first cause by then."""
    first, second = (1 - np.exp(-hazard) for hazard in HAZARDS)
    daily_free = (1 - first) * (1 - second)
    alive = daily_free**days
    return alive, first * (1 - alive) / (1 - daily_free)


def main() -> None:
    """Write the table, one line of progress a cell."""
    with TABLE.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, [each.name for each in fields(Cell)], lineterminator="\n")
        writer.writeheader()
        for patients in SIZES:
            for cell in simulate(patients):
                writer.writerow(asdict(cell))
                print(cell, file=sys.stderr)


if __name__ == "__main__":
    main()
