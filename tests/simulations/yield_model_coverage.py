"""How often the adjusted interval of a difference of classes holds the true one, which is none.

`cd tests && python -m simulations.yield_model_coverage` writes yield_model_coverage.csv beside this file. Series of
four sessions a patient, log yields falling by 0.35 a session, standard deviation 0.45 between and 0.45 within patients;
two classes taken at random. "exact": every yield a number (restricted maximum likelihood, Satterthwaite). "ranged":
15 % rounded to ranges of 100 ml and those below 50 ml known only as such (the likelihood of ranges). One less the
coverage is the share of false alarms at 5 %. The seed is fixed and belongs to the size.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from necrostats.measures.yield_models import INTERCEPT, POOLED, WITHIN, Rows, yield_model
from simulations.plan_power import as_ranges
from simulations.tables import Cell, Limits, cells, stacked, write

SEED, REPLICATES, SESSIONS = 20_261_128, 2_000, 4
SIZES = (6, 10, 20, 40)
SHARES = {"exact": 0.0, "ranged": 0.15}
KINDS = {POOLED: "crude", INTERCEPT: "adjusted", WITHIN: "within patients"}
TABLE = Path(__file__).with_suffix(".csv")


def series(rng: np.random.Generator, patients: int, share: float) -> Rows:
    """One series without any effect of the class."""
    n = patients * SESSIONS
    patient, number = np.repeat(np.arange(patients), SESSIONS), np.tile(np.arange(float(SESSIONS)), patients)
    one = (rng.random(n) < 0.5).astype(float)
    y = 5 - 0.35 * number + 0.45 * rng.normal(size=patients)[patient] + 0.45 * rng.normal(size=n)
    low, high = as_ranges(y, share, rng)
    return Rows(low=low, high=high, classes=one[:, None], covariates=number[:, None], patient=patient)


def _limits(rng: np.random.Generator, patients: int, name: str, kinds: dict[str, str]) -> dict[str, Limits]:
    rows, found = series(rng, patients, SHARES[name]), {}
    for kind, shown in kinds.items():
        each = yield_model(rows, kind, 0.95).against(0)
        found[f"{name}, {shown}"] = Limits(truth=0.0, low=np.array([each.low]), high=np.array([each.high]))
    return found


def simulate(patients: int, replicates: int = REPLICATES) -> Iterator[Cell]:
    """Coverage of every model at one size; where there are ranges, of the adjusted one only."""
    for name in SHARES:
        rng = np.random.default_rng([SEED, patients, len(name)])
        kinds = KINDS if name == "exact" else {INTERCEPT: KINDS[INTERCEPT]}
        yield from cells(patients, [stacked(_limits(rng, patients, name, kinds) for _ in range(replicates))])


def main() -> None:
    """Write the table."""
    write(TABLE, (cell for patients in SIZES for cell in simulate(patients)))


if __name__ == "__main__":
    main()
