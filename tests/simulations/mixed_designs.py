"""Whether the random-intercept model is ever silently wrong: small random designs, each against a direct maximisation.

`cd tests && python -m simulations.mixed_designs` writes mixed_designs.csv beside this file and prints how much faster
than statsmodels' MixedLM the same fits were. The direct way forms the whole covariance matrix of the yields and
searches the restricted likelihood on a fine grid, then by golden section.
"""

from __future__ import annotations

import time
import warnings
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import optimize

from necrostats.stats.mixed import random_intercept

SEED, DESIGNS, TIMED = 20_261_128, 2000, 40
TABLE = Path(__file__).with_suffix(".csv")


@dataclass(frozen=True, kw_only=True)
class Row:
    """Designs of one number of groups: how many, how many had no variance between groups, and the largest gaps."""

    groups: int
    designs: int
    singular: int
    criterion_above_direct: float
    coefficient_gap_in_errors: float
    without_model: int


def design(rng: np.random.Generator, groups: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Yields, design and groups of 1 to 4 rows a group, with a class and a slope."""
    whose = np.repeat(np.arange(groups), rng.integers(1, 5, groups))
    x = np.column_stack([np.ones(whose.size), rng.integers(0, 2, whose.size), rng.normal(size=whose.size)])
    y = rng.choice([0, 0.3, 1, 3]) * rng.normal(size=groups)[whose] + rng.normal(size=whose.size)
    return y, x, whose


def direct(y: np.ndarray, x: np.ndarray, whose: np.ndarray) -> tuple[float, np.ndarray]:
    """−2 × the restricted log-likelihood at its best, and the coefficients there, from whole matrices."""
    same = (whose[:, None] == whose[None, :]).astype(float)

    def solved(ratio: float) -> tuple[float, np.ndarray]:
        v = np.eye(y.size) + ratio * same
        vx, vy = np.linalg.solve(v, x), np.linalg.solve(v, y)
        beta = np.linalg.solve(x.T @ vx, x.T @ vy)
        rest, free = y - x @ beta, y.size - x.shape[1]
        spread = rest @ np.linalg.solve(v, rest) / free
        value = free * (np.log(2 * np.pi * spread) + 1) + np.linalg.slogdet(v)[1] + np.linalg.slogdet(x.T @ vx)[1]
        return float(value), beta

    grid = np.concatenate([[0.0], np.exp(np.linspace(-8, 8, 60))])
    values = [solved(ratio)[0] for ratio in grid]
    best = int(np.argmin(values))
    if best == 0:
        return solved(0.0)
    ends = np.log(grid[max(best - 1, 1)]), np.log(grid[min(best + 1, grid.size - 1)])
    found = optimize.minimize_scalar(
        lambda at: solved(np.exp(at))[0], bounds=ends, method="bounded", options={"xatol": 1e-10}
    )
    return min((solved(np.exp(found.x)), solved(grid[best])), key=lambda each: each[0])


def rows() -> list[Row]:
    """One row a number of groups."""
    rng, made = np.random.default_rng(SEED), []
    for groups in (3, 5, 10, 20):
        above, gap, singular, without = [], [], 0, 0
        for _ in range(DESIGNS // 4):
            y, x, whose = design(rng, groups)
            fit = random_intercept(y, x, whose)
            if np.isnan(fit.coefficient).any():
                without += 1
                continue
            value, beta = direct(y, x, whose)
            above.append(fit.criterion - value)
            gap.append(np.max(np.abs(fit.coefficient - beta) / np.sqrt(np.diagonal(fit.covariance))))
            singular += fit.singular
        made.append(
            Row(
                groups=groups,
                designs=DESIGNS // 4,
                singular=singular,
                criterion_above_direct=float(f"{max(above):.1e}"),
                coefficient_gap_in_errors=float(f"{max(gap):.1e}"),
                without_model=without,
            )
        )
    return made


def faster() -> float:
    """How many times faster than MixedLM's fit, on the same series of 60 groups."""
    from statsmodels.regression.mixed_linear_model import MixedLM

    rng = np.random.default_rng(SEED)
    series = [design(rng, 60) for _ in range(TIMED)]
    start = time.perf_counter()
    for each in series:
        random_intercept(*each).contrast([0, 1, 0])
    ours, start = time.perf_counter() - start, time.perf_counter()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for y, x, whose in series:
            MixedLM(y, x, whose).fit(reml=True)
    return (time.perf_counter() - start) / ours


if __name__ == "__main__":
    pd.DataFrame(map(asdict, rows())).to_csv(TABLE, index=False)
    print(f"{faster():.0f} times as fast as MixedLM")
