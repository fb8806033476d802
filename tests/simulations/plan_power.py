"""Whether a smallest detectable ratio has the power it is said to have, by brute force.

`cd tests && python -m simulations.plan_power` writes plan_power.csv beside this file. A series of yields of two classes
is fitted; the plan names the smallest log ratio found with 80 % power; then series with just that ratio, and the fitted
spreads between and within patients, are drawn on the same sessions and tested. `ranged`: the share of yields rounded to
a range of 100 ml, with those below 50 ml known only as such.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from necrostats.measures.yield_models import INTERCEPT, Rows, yield_model
from necrostats.stats.mixed import random_intercept
from necrostats.stats.power import smallest_detectable
from necrostats.stats.ranged_intercept import ranged_intercept
from simulations.tables import write

SEED, REPLICATES, POWER = 20_261_127, 1000, 0.8
SERIES = ((15, 3, 0.0), (40, 3, 0.0), (40, 3, 0.2))  # patients, sessions of each, share of ranges
BETWEEN = WITHIN = 0.45
TABLE = Path(__file__).with_suffix(".csv")


@dataclass(frozen=True, kw_only=True)
class Row:
    """One series: the smallest ratio it was said to find, and the share of replicates in which it did."""

    patients: int
    sessions: int
    ranged: float
    smallest_ratio: float
    planned: float
    found: float
    replicates: int


def as_ranges(y: np.ndarray, share: float, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """The log yields with so many of them as ranges."""
    low, high, amount = y.copy(), y.copy(), np.exp(y)
    some = rng.random(y.size) < share
    with np.errstate(divide="ignore"):
        low[some], high[some] = (np.log(100 * (np.floor(amount[some] / 100) + more)) for more in (0, 1))
    below = (amount < 50) & (share > 0)
    return np.where(below, -np.inf, low), np.where(below, np.log(50), high)


def _rows(rng: np.random.Generator, patients: int, sessions: int) -> Rows:
    """A design without yields: classes at random, the number of the session as a covariate."""
    n = patients * sessions
    number = np.tile(np.arange(float(sessions)), patients)
    one = (rng.random(n) < 0.5).astype(float)
    empty = np.zeros(n)
    return Rows(
        low=empty,
        high=empty,
        classes=one[:, None],
        covariates=number[:, None],
        patient=np.repeat(np.arange(patients), sessions),
    )


def _drawn(rows: Rows, effect: float, spreads: tuple[float, float], share: float, rng: np.random.Generator) -> Rows:
    level = spreads[0] * rng.normal(size=rows.patient.max() + 1)
    mean = np.log(190) - 0.35 * rows.covariates[:, 0] + effect * rows.classes[:, 0] + level[rows.patient]
    low, high = as_ranges(mean + spreads[1] * rng.normal(size=mean.size), share, rng)
    return replace(rows, low=low, high=high)


def _spreads(rows: Rows) -> tuple[float, float]:
    """The fitted standard deviations between and within patients."""
    design = np.column_stack([np.ones(rows.low.size), rows.covariates, rows.classes])
    if rows.exact:
        mixed = random_intercept(rows.low, design, rows.patient)
        return float(np.sqrt(mixed.between)), float(np.sqrt(mixed.within))
    fit = ranged_intercept(rows.low, rows.high, design, rows.patient)
    return fit.between, fit.within * float(np.sqrt(rows.low.size / (rows.low.size - design.shape[1])))


def simulate(patients: int, sessions: int, share: float, replicates: int = REPLICATES) -> Row:
    """The plan of one fitted series against what series drawn by it show."""
    rng = np.random.default_rng([SEED, patients, sessions, int(100 * share)])
    rows = _drawn(_rows(rng, patients, sessions), np.log(1.5), (BETWEEN, WITHIN), share, rng)
    today = yield_model(rows, INTERCEPT, 0.95).against(0)
    least = smallest_detectable(today.error, today.df, power=POWER)
    spreads = _spreads(rows)
    tests = [
        yield_model(_drawn(rows, least, spreads, share, rng), INTERCEPT, 0.95).against(0).p_value
        for _ in range(replicates)
    ]
    return Row(
        patients=patients,
        sessions=sessions,
        ranged=share,
        smallest_ratio=round(float(np.exp(least)), 4),
        planned=POWER,
        found=round(float(np.mean(np.array(tests) < 0.05)), 4),
        replicates=replicates,
    )


def _all() -> Iterator[Row]:
    for patients, sessions, share in SERIES:
        yield simulate(patients, sessions, share)


def main() -> None:
    """Write the table."""
    write(TABLE, _all(), Row)


if __name__ == "__main__":
    main()
