"""How often the limits of resampled patients hold the truth: medians, incidence, restricted means and differences.

Run by hand in tests/: `python -m simulations.bootstrap_coverage` writes bootstrap_coverage.csv beside this file. Two
groups of one size and one truth, as in curve_coverage: two causes with constant hazards, on whole days. Each series is
resampled 1,000 times. The seed is fixed and belongs to the size.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from necrostats.stats.intervals import Interval
from necrostats.stats.resampling import bootstrap, height_of, median_of, restricted_mean_of
from simulations.tables import Cell, Limits, cells, stacked, write
from simulations.two_causes import ends, truth

SEED = 20_260_804
REPLICATES, RESAMPLES = 2_000, 1_000
SIZES = (15, 40, 100)
DAY, TAU = 60, 90
HAZARDS = (0.02, 0.004)
TABLE = Path(__file__).with_suffix(".csv")


def simulate(patients: int, replicates: int = REPLICATES) -> list[Cell]:
    """Coverage of every interval at one size of group, its seed made from the size."""
    rng = np.random.default_rng([SEED, patients])
    return cells(patients, [stacked(_series(rng, patients) for _ in range(replicates))])


def _true() -> dict[str, float]:
    known = truth(HAZARDS, np.arange(1000))
    return {
        "median time to the first cause": float(np.argmax(known.first >= 0.5)),
        "median time to any event": float(np.argmax(known.free <= 0.5)),
        f"incidence at {DAY}": float(known.first[DAY]),
        f"event-free share at {DAY}": float(known.free[DAY]),
        f"restricted mean to {TAU}, incidence": float(known.first[:TAU].sum()),
        f"restricted mean to {TAU}, event-free share": float(known.free[:TAU].sum()),
    }


TRUTHS = _true()
STATISTICS = (
    median_of(1),
    median_of(),
    height_of(DAY, 1),
    height_of(DAY),
    restricted_mean_of(TAU, 1),
    restricted_mean_of(TAU),
)


def _series(rng: np.random.Generator, patients: int) -> dict[str, Limits]:
    """Limits of one series: of its first group, and of the difference of both."""
    found = ends(rng, HAZARDS, np.arange(2 * patients))
    drawn = bootstrap(
        found.time,
        found.cause,
        STATISTICS,
        group=np.repeat([0, 1], patients),
        groups=[0, 1],
        causes=[1, 2],
        replicates=RESAMPLES,
        random=rng,
    )
    limits = {}
    for each, (figure, true) in zip(STATISTICS, TRUTHS.items(), strict=True):
        limits[figure] = _limits(drawn.interval(each.name, 0), true)
        limits[f"difference in {figure}"] = _limits(drawn.difference(each.name, 0, 1), 0.0)
    return limits


def _limits(found: Interval, true: float) -> Limits:
    return Limits(truth=true, low=np.array(found.low), high=np.array(found.high))


def main() -> None:
    """Write the table."""
    write(TABLE, (cell for patients in SIZES for cell in simulate(patients)))


if __name__ == "__main__":
    main()
