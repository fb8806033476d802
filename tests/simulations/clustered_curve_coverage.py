"""How often 95 % intervals hold the truth: incidence of collections by patient, its median, and exact shares.

Run by hand: `python tests/simulations/clustered_curve_coverage.py` writes clustered_curve_coverage.csv beside it.
A patient has one to three collections and a frailty (gamma, mean 1, variance 1) that all of them share; each ends by
one of two causes with constant hazards, on whole days, unless follow-up ends first, anywhere from day 45 to day 300.
Beside the interval by patient, with t limits, stand the one with normal limits and the one that takes every collection
by itself. Of a share, the coverage of Clopper–Pearson is no simulation but the exact sum over all counts. The seed is
fixed and belongs to the size.
"""

from __future__ import annotations

import csv
import sys
from dataclasses import asdict, dataclass, fields
from pathlib import Path

import numpy as np
from scipy import optimize, stats

from necrostats.stats.curves import CumulativeIncidence
from necrostats.stats.few_clusters import widened
from necrostats.stats.incidence import aalen_johansen, at, quantile
from necrostats.stats.proportions import clopper_pearson
from necrostats.stats.restricted_means import restricted_mean
from necrostats.stats.subjects import Subjects

SEED = 20_260_801
REPLICATES, AT_ONCE = 2_000, 50
SIZES = (15, 40, 100)
DAY, TAU = 60, 90
HAZARDS = (0.03, 0.004)
FRAILTY_SHAPE = 1.0
SHARES = (0.05, 0.2, 0.5)
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
class _Limits:
    """Limits of each series and cause (S, C)."""

    low: np.ndarray
    high: np.ndarray


def simulate(patients: int, replicates: int = REPLICATES) -> list[Cell]:
    """Coverage of the intervals of curves at one number of patients."""
    rng = np.random.default_rng([SEED, patients])
    held: dict[str, list[np.ndarray]] = {}
    for start in range(0, replicates, AT_ONCE):
        for figure, each in _series(rng, patients, min(AT_ONCE, replicates - start)).items():
            held.setdefault(figure, []).append(each)
    return [_cell(patients, figure, np.concatenate(each)) for figure, each in held.items()]


def exact_shares(patients: int) -> list[Cell]:
    """Coverage of Clopper–Pearson at one number of patients, summed over all counts."""
    k = np.arange(patients + 1)
    limits = clopper_pearson(k, np.full(k.size, patients))
    return [
        Cell(
            patients=patients, figure=f"share of patients, truth {share:g}", truth=share, no_limits=0.0, intervals=0,
            coverage=round(float(chance[(limits.low <= share) & (share <= limits.high)].sum()), 4),
        )
        for share in SHARES
        for chance in [stats.binom.pmf(k, patients, share)]
    ]  # fmt: skip


def true_incidence(day: float) -> float:
    """The incidence of the first cause by a day, over all frailties."""
    total = sum(HAZARDS)
    return HAZARDS[0] / total * (1 - (1 + total * day / FRAILTY_SHAPE) ** -FRAILTY_SHAPE)


TRUTHS = {
    "incidence": true_incidence(DAY),
    "restricted mean": sum(true_incidence(day) for day in range(TAU)),
    "median": float(np.ceil(optimize.brentq(lambda day: true_incidence(day) - 0.5, 1, 1000))),
}


def _series(rng: np.random.Generator, patients: int, series: int) -> dict[str, np.ndarray]:
    """Whether each interval of each series holds its truth; NaN where there is none."""
    number = rng.integers(1, 4, patients * series)
    whose = np.repeat(np.arange(number.size), number)
    frailty = rng.gamma(FRAILTY_SHAPE, 1 / FRAILTY_SHAPE, number.size)[whose]
    first, second = (np.ceil(rng.exponential(1, whose.size) / (hazard * frailty)) for hazard in HAZARDS)
    end = rng.integers(45, 301, number.size)[whose]
    both = np.minimum(first, second)
    cause = np.where(both > end, 0, np.where(first <= second, 1, 2))
    rows = {"group": whose // patients, "groups": range(series)}
    time = np.minimum(both, end).astype(np.int64)
    normal = aalen_johansen(time, cause, causes=(1, 2), cluster=whose, **rows)
    curve = widened(normal, np.full(series, patients))
    subjects = Subjects(time=time, cause=cause, cluster=whose, group=rows["group"])
    middle = quantile(curve, 0.5)
    naive = aalen_johansen(time, cause, causes=(1, 2), **rows)
    found = {
        f"incidence at {DAY}, by patient": (_at_the_day(curve), "incidence"),
        f"incidence at {DAY}, by patient, normal limits": (_at_the_day(normal), "incidence"),
        f"restricted mean to {TAU}, by patient": (restricted_mean(curve, TAU, subjects=subjects), "restricted mean"),
        "median of the incidence, by patient": (middle, "median"),
        f"incidence at {DAY}, each by itself": (_at_the_day(naive), "incidence"),
    }
    return {name: _held(each.low[:, 0], each.high[:, 0], TRUTHS[what]) for name, (each, what) in found.items()}


def _at_the_day(curve: CumulativeIncidence) -> _Limits:
    height = at(curve, DAY)
    return _Limits(low=height.low[..., 0], high=height.high[..., 0])


def _held(low: np.ndarray, high: np.ndarray, truth: float) -> np.ndarray:
    none = np.isnan(low) & np.isnan(high)
    low, high = np.nan_to_num(low, nan=-np.inf), np.nan_to_num(high, nan=np.inf)
    return np.where(none, np.nan, (low <= truth + 1e-9) & (truth - 1e-9 <= high))


def _cell(patients: int, figure: str, held: np.ndarray) -> Cell:
    truth = next(value for name, value in TRUTHS.items() if name in figure.replace("median of the incidence", "median"))
    return Cell(
        patients=patients, figure=figure, truth=round(truth, 6), coverage=round(float(np.nanmean(held)), 4),
        no_limits=round(float(np.isnan(held).mean()), 4), intervals=int(np.count_nonzero(~np.isnan(held))),
    )  # fmt: skip


def main() -> None:
    """Write the table, one line of progress a cell."""
    with TABLE.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, [each.name for each in fields(Cell)], lineterminator="\n")
        writer.writeheader()
        for patients in SIZES:
            for cell in (*simulate(patients), *exact_shares(patients)):
                writer.writerow(asdict(cell))
                print(cell, file=sys.stderr)


if __name__ == "__main__":
    main()
