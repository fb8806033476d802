"""How often limits hold the truth when resolution is known only to lie between two scans.

Run by hand in tests/: `python -m simulations.scan_range_coverage` writes scan_range_coverage.csv beside this file.
Scans every 11 to 17 days up to a lock between day 60 and day 300. A fifth of all patients ends otherwise, counted as
never resolved up to the lock, as interval_censored_resolution does; the others resolve on a log-normal day. Log-normal
and Weibull curves, which rise to 1, are fitted to series in which everybody resolves, on a day of their own shape. The
band has 200 resamples of patients, not the 500 of the measure, to save time. The seed is fixed and belongs to the size.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy import special

from necrostats.stats.npmle import npmle_band
from necrostats.stats.parametric_times import parametric_times
from simulations.tables import Cell, Limits, cells, stacked, write

SEED = 20_260_806
REPLICATES, RESAMPLES = 1_000, 200
SIZES = (15, 40, 100)
DAYS = (30, 60, 90)
EVERY_DAY = np.arange(181)
OTHERWISE = 0.2
MEDIAN, SPREAD, POWER = 45.0, 0.8, 1.3
GAPS, LOCKS = (11, 17), (60, 300)
TABLE = Path(__file__).with_suffix(".csv")


@dataclass(frozen=True, kw_only=True)
class Ranges:
    """The last scan before resolution (N,) and the first after it, infinite where there was none."""

    left: np.ndarray
    right: np.ndarray


def between_scans(rng: np.random.Generator, resolved: np.ndarray) -> Ranges:
    """Ranges of days of resolution (N,), infinite for those who end otherwise."""
    gaps = rng.integers(GAPS[0], GAPS[1] + 1, (resolved.size, LOCKS[1] // GAPS[0] + 1))
    scans, lock = np.cumsum(gaps, axis=1), rng.integers(LOCKS[0], LOCKS[1] + 1, resolved.size)
    scans = np.where(scans <= lock[:, None], scans, 0)
    seen, gone = (scans < resolved[:, None]), (scans >= resolved[:, None]) & (scans > 0)
    left = np.where(seen, scans, 0).max(axis=1).astype(float)
    right = np.where(gone, scans.astype(float), np.inf).min(axis=1)
    return Ranges(left=np.where(np.isinf(resolved), lock, left), right=right)


def log_normal(rng: np.random.Generator, size: int) -> np.ndarray:
    """Days with median 45."""
    return MEDIAN * np.exp(SPREAD * rng.standard_normal(size))


def weibull(rng: np.random.Generator, size: int) -> np.ndarray:
    """Days with median 45."""
    return MEDIAN * (rng.exponential(1, size) / np.log(2)) ** (1 / POWER)


def true_incidence(day: float) -> float:
    """The share of all patients resolved by a day."""
    return float((1 - OTHERWISE) * special.ndtr(np.log(day / MEDIAN) / SPREAD))


TRUE_MEDIAN = MEDIAN * float(np.exp(SPREAD * special.ndtri(0.5 / (1 - OTHERWISE))))


def simulate(patients: int, replicates: int = REPLICATES) -> list[Cell]:
    """Coverage of every interval at one size, its seed made from the size."""
    rng = np.random.default_rng([SEED, patients])
    return cells(patients, [stacked(_series(rng, patients) for _ in range(replicates))])


def _series(rng: np.random.Generator, patients: int) -> dict[str, Limits]:
    return {
        **_without_a_shape(rng, patients),
        "median, log-normal": _fitted(rng, patients, log_normal, "log-normal"),
        "median, Weibull": _fitted(rng, patients, weibull, "weibull"),
    }


def _without_a_shape(rng: np.random.Generator, patients: int) -> dict[str, Limits]:
    otherwise = rng.random(patients) < OTHERWISE
    rows = between_scans(rng, np.where(otherwise, np.inf, log_normal(rng, patients)))
    band = npmle_band(rows.left, rows.right, EVERY_DAY, replicates=RESAMPLES, random=rng)
    found = {
        f"incidence at {day}, no shape": Limits(truth=true_incidence(day), low=band.low[day], high=band.high[day])
        for day in DAYS
    }
    edges = [np.append(EVERY_DAY, np.nan)[np.argmax(np.append(each, 1) >= 0.5)] for each in (band.high, band.low)]
    return {**found, "median, no shape": Limits(truth=TRUE_MEDIAN, low=edges[0], high=edges[1])}


def _fitted(rng: np.random.Generator, patients: int, days: Callable, shape: str) -> Limits:
    rows = between_scans(rng, days(rng, patients))
    middle = parametric_times(rows.left, rows.right, shape=shape).median([])
    return Limits(truth=MEDIAN, low=np.array(middle.low), high=np.array(middle.high))


def main() -> None:
    """Write the table."""
    write(TABLE, (cell for patients in SIZES for cell in simulate(patients)))


if __name__ == "__main__":
    main()
