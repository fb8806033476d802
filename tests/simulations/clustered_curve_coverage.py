"""How often 95 % intervals hold the truth: incidence of collections by patient, its median, and exact shares.

Run by hand in tests/: `python -m simulations.clustered_curve_coverage` writes clustered_curve_coverage.csv beside it.
A patient has one to three collections and a frailty (gamma, mean 1, variance 1) that all of them share; each ends by
one of two causes with constant hazards, on whole days, unless follow-up ends first, anywhere from day 45 to day 300.
Beside the interval by patient, with t limits, stand the one with normal limits and the one that takes every collection
by itself. Of a share, the coverage of Clopper–Pearson is no simulation but the exact sum over all counts. The seed is
fixed and belongs to the size.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from scipy import optimize, stats

from necrostats.stats.curve_terms import Subjects
from necrostats.stats.curves import CumulativeIncidence, Quantile, widened
from necrostats.stats.incidence import aalen_johansen, at, quantile
from necrostats.stats.proportions import clopper_pearson
from necrostats.stats.restricted_means import GroupFigures, restricted_mean
from simulations.tables import Cell, Limits, cells, portions, write
from simulations.two_causes import ends

SEED = 20_260_801
REPLICATES, AT_ONCE = 2_000, 50
SIZES = (15, 40, 100)
DAY, TAU = 60, 90
HAZARDS = (0.03, 0.004)
FRAILTY_SHAPE = 1.0
SHARES = (0.05, 0.2, 0.5)
TABLE = Path(__file__).with_suffix(".csv")


def simulate(patients: int, replicates: int = REPLICATES) -> list[Cell]:
    """Coverage of the intervals of curves at one number of patients."""
    rng = np.random.default_rng([SEED, patients])
    return cells(patients, (_series(rng, patients, size) for size in portions(replicates, AT_ONCE)))


def exact_shares(patients: int) -> list[Cell]:
    """Coverage of Clopper–Pearson at one number of patients, summed over all counts."""
    k = np.arange(patients + 1)
    limits = clopper_pearson(k, np.full(k.size, patients))
    return [
        Cell(
            patients=patients,
            figure=f"share of patients, truth {share:g}",
            truth=share,
            no_limits=0.0,
            intervals=0,
            coverage=round(float(chance[(limits.low <= share) & (share <= limits.high)].sum()), 4),
        )
        for share in SHARES
        for chance in [stats.binom.pmf(k, patients, share)]
    ]


def true_incidence(day: float) -> float:
    """The incidence of the first cause by a day, over all frailties."""
    total = sum(HAZARDS)
    return HAZARDS[0] / total * (1 - (1 + total * day / FRAILTY_SHAPE) ** -FRAILTY_SHAPE)


TRUTHS = {
    "incidence": true_incidence(DAY),
    "restricted mean": sum(true_incidence(day) for day in range(TAU)),
    "median": float(np.ceil(optimize.brentq(lambda day: true_incidence(day) - 0.5, 1, 1000))),
}


def _series(rng: np.random.Generator, patients: int, series: int) -> dict[str, Limits]:
    """Limits of each series."""
    number = rng.integers(1, 4, patients * series)
    whose = np.repeat(np.arange(number.size), number)
    frailty = rng.gamma(FRAILTY_SHAPE, 1 / FRAILTY_SHAPE, number.size)[whose]
    found = ends(rng, HAZARDS, whose, frailty)
    rows = {"time": found.time, "cause": found.cause, "group": whose // patients}
    groups = {"groups": range(series), "causes": (1, 2)}
    normal = aalen_johansen(**rows, **groups, cluster=whose)
    curve = widened(normal, np.full(series, patients))
    mean = restricted_mean(curve, TAU, subjects=Subjects(**rows, cluster=whose))
    return {
        f"incidence at {DAY}, by patient": _at_the_day(curve),
        f"incidence at {DAY}, by patient, normal limits": _at_the_day(normal),
        f"restricted mean to {TAU}, by patient": _first_cause(mean, "restricted mean"),
        "median of the incidence, by patient": _first_cause(quantile(curve, 0.5), "median"),
        f"incidence at {DAY}, each by itself": _at_the_day(aalen_johansen(**rows, **groups)),
    }


def _at_the_day(curve: CumulativeIncidence) -> Limits:
    height = at(curve, DAY)
    return Limits(truth=TRUTHS["incidence"], low=height.low[:, 0, 0], high=height.high[:, 0, 0])


def _first_cause(figures: GroupFigures | Quantile, what: str) -> Limits:
    return Limits(truth=TRUTHS[what], low=figures.low[:, 0], high=figures.high[:, 0])


def main() -> None:
    """Write the table."""
    write(TABLE, (cell for patients in SIZES for cell in (*simulate(patients), *exact_shares(patients))))


if __name__ == "__main__":
    main()
