"""How often two 95 % intervals for events per session hold the truth when events cluster by patient.

Run by hand in tests/: `python -m simulations.korn_graubard_coverage` writes korn_graubard_coverage.csv beside this
file.
Patients have 1 to 6 sessions, equally often. Each has a probability of an event drawn from a beta distribution with
the mean `rate` and the intra-patient correlation named; events of a session are independent given it. The seed is
fixed and belongs to the cell, so one cell can be run alone and gives the same row.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from pathlib import Path

import numpy as np

from necrostats.stats.proportions import clopper_pearson, korn_graubard
from simulations.tables import write

SEED = 20_260_714
REPLICATES = 10_000
CORRELATIONS = (0.0, 0.05, 0.1, 0.15, 0.2)
PATIENTS = (15, 30, 60, 100)
RATES = (0.05, 0.15)
MOST_SESSIONS = 6
TABLE = Path(__file__).with_suffix(".csv")


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One setting and what came of it: shares of replicates whose interval held the rate, and mean widths."""

    correlation: float
    patients: int
    rate: float
    replicates: int
    korn_graubard: float
    clopper_pearson: float
    korn_graubard_width: float
    clopper_pearson_width: float
    no_events: float


def simulate(correlation: float, patients: int, rate: float, replicates: int = REPLICATES) -> Cell:
    """Coverage at one setting, its seed made from the setting."""
    rng = np.random.default_rng([SEED, round(1000 * correlation), patients, round(1000 * rate)])
    sessions = rng.integers(1, MOST_SESSIONS + 1, (replicates, patients))
    events = rng.binomial(sessions, _probabilities(rng, correlation, rate, sessions.shape))
    label = np.arange(patients)
    clustered = [korn_graubard(y, m, label) for y, m in zip(events, sessions, strict=True)]
    low, high = (np.array([getattr(each, side) for each in clustered]) for side in ("low", "high"))
    plain = clopper_pearson(events.sum(axis=1), sessions.sum(axis=1))
    return Cell(
        correlation=correlation,
        patients=patients,
        rate=rate,
        replicates=replicates,
        korn_graubard=_share((low <= rate) & (rate <= high)),
        clopper_pearson=_share((plain.low <= rate) & (rate <= plain.high)),
        korn_graubard_width=_share(high - low),
        clopper_pearson_width=_share(plain.high - plain.low),
        no_events=_share(events.sum(axis=1) == 0),
    )


def _probabilities(rng: np.random.Generator, correlation: float, rate: float, shape: tuple[int, int]) -> np.ndarray:
    if not correlation:
        return np.full(shape, rate)
    both = (1 - correlation) / correlation
    return rng.beta(rate * both, (1 - rate) * both, shape)


def _share(values: np.ndarray) -> float:
    return round(float(np.mean(values)), 4)


def main() -> None:
    """Write the table."""
    write(TABLE, (simulate(*setting) for setting in product(CORRELATIONS, PATIENTS, RATES)), Cell)


if __name__ == "__main__":
    main()
