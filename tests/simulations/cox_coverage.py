"""How often 95 % limits of cause-specific hazard ratios hold the truth, by the model's error and by cluster.

Run by hand in tests/: `python -m simulations.cox_coverage` writes cox_coverage.csv beside this file. Two groups of
`patients` each, days as whole numbers, a true ratio of 2. Three settings: one course a patient, with a competing cause;
one to three collections a patient that share a positive stable frailty, under which the ratio over all patients is
still 2 (Hougaard P. Biometrika 1986;73:387-396); and, for `patients` in all, a class of instrument whose first use
doubles the hazard, compared at the same number of sessions so far. The seed is fixed and belongs to the size.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from necrostats.stats.cox import CoxFit, cox
from simulations.tables import Cell, Limits, cells, portions, write
from simulations.two_causes import LAST_SEEN, ends

SEED = 20_260_803
REPLICATES, AT_ONCE = 4_000, 100
SIZES = (15, 40, 100)
RATIO = 2.0
HAZARDS = (0.016, 0.004)
STABLE = 0.7
COLLECTIONS = 3
SESSION_EVERY, USED = 12.0, 0.35
BY_SESSIONS = np.array([0.008, 0.014, 0.02, 0.024, 0.024])
TABLE = Path(__file__).with_suffix(".csv")


@dataclass(frozen=True, kw_only=True)
class Rows:
    """Rows of many series (N,): the series, the cluster, and what Cox's model takes."""

    series: np.ndarray
    cluster: np.ndarray
    time: np.ndarray
    event: np.ndarray
    exposed: np.ndarray
    entry: np.ndarray | None = None
    strata: np.ndarray | None = None

    def fit(self, rows: slice, *, robust: bool) -> CoxFit:
        """The model of one series."""
        entry, strata = (None if each is None else each[rows] for each in (self.entry, self.strata))
        return cox(
            self.time[rows],
            self.event[rows],
            self.exposed[rows],
            entry=entry,
            strata=strata,
            cluster=self.cluster[rows] if robust else None,
        )

    def limits(self, *, robust: bool) -> Limits:
        """Limits of the log hazard ratio in each series."""
        edges = np.flatnonzero(np.diff(self.series, prepend=-1, append=-1))
        fits = [self.fit(slice(*pair), robust=robust) for pair in pairwise(edges)]
        low, high = (np.array([getattr(fit, side)[0] for fit in fits]) for side in ("low", "high"))
        return Limits(truth=float(np.log(RATIO)), low=low, high=high)


def simulate(patients: int, replicates: int = REPLICATES) -> list[Cell]:
    """Coverage of every interval at one size, its seed made from the size."""
    rng = np.random.default_rng([SEED, patients])
    return cells(patients, (_limits(rng, patients, size) for size in portions(replicates, AT_ONCE)))


def _limits(rng: np.random.Generator, patients: int, series: int) -> dict[str, Limits]:
    courses, collections = one_course(rng, patients, series), several_collections(rng, patients, series)
    uses = use_so_far(rng, patients, series)
    return {
        "one course a patient, model error": courses.limits(robust=False),
        "one course a patient, robust error": courses.limits(robust=True),
        "collections, robust by patient": collections.limits(robust=True),
        "collections, each by itself": collections.limits(robust=False),
        "after first use, model error": uses.limits(robust=False),
        "after first use, robust by patient": uses.limits(robust=True),
    }


def one_course(rng: np.random.Generator, patients: int, series: int) -> Rows:
    """Two groups, constant hazards of two causes."""
    whose = np.arange(2 * patients * series)
    exposed = whose // patients % 2
    found = ends(rng, (HAZARDS[0] * RATIO**exposed, HAZARDS[1]), whose)
    return Rows(series=whose // (2 * patients), cluster=whose, time=found.time, event=found.cause == 1, exposed=exposed)


def several_collections(rng: np.random.Generator, patients: int, series: int) -> Rows:
    """Two groups of patients whose collections share a frailty."""
    number = rng.integers(1, COLLECTIONS + 1, 2 * patients * series)
    whose = np.repeat(np.arange(number.size), number)
    exposed = whose // patients % 2
    frailty = positive_stable(rng, number.size)[whose]
    found = ends(rng, (HAZARDS[0] * RATIO ** (exposed / STABLE) * frailty, HAZARDS[1]), whose)
    return Rows(series=whose // (2 * patients), cluster=whose, time=found.time, event=found.cause == 1, exposed=exposed)


def positive_stable(rng: np.random.Generator, size: int) -> np.ndarray:
    """Draws whose Laplace transform is exp(−s^STABLE). Chambers JM et al. J Am Stat Assoc 1976;71:340-344."""
    angle, wait = rng.uniform(0, np.pi, size), rng.exponential(1, size)
    rest = (1 - STABLE) / STABLE
    return np.sin(STABLE * angle) / np.sin(angle) ** (1 / STABLE) * (np.sin((1 - STABLE) * angle) / wait) ** rest


def use_so_far(rng: np.random.Generator, patients: int, series: int) -> Rows:
    """Stretches between sessions; the hazard of resolution depends on sessions so far and doubles from first use."""
    whose = np.arange(patients * series)
    last = rng.integers(LAST_SEEN[0], LAST_SEEN[1] + 1, whose.size)
    since, used = np.zeros(whose.size, dtype=np.int64), np.zeros(whose.size, dtype=np.int64)
    parts, sessions = [], 0
    while whose.size:
        stratum = min(sessions, BY_SESSIONS.size - 1)
        waits = (1 / (BY_SESSIONS[stratum] * RATIO**used), 1 / HAZARDS[1], SESSION_EVERY)
        resolved, other, session = (since + np.ceil(rng.exponential(wait, whose.size)) for wait in waits)
        stop = np.minimum.reduce([resolved, other, session, last]).astype(np.int64)
        parts.append([whose, since, stop, resolved == stop, used, np.full(whose.size, stratum)])
        on = (session == stop) & (stop < np.minimum.reduce([resolved, other, last]))
        use = rng.random(whose.size) < USED
        whose, last, since, used = whose[on], last[on], stop[on], (used | use)[on]
        sessions += 1
    columns = [np.concatenate(each) for each in zip(*parts, strict=True)]
    order = np.argsort(columns[0], kind="stable")
    whose, since, stop, event, used, stratum = (each[order] for each in columns)
    return Rows(
        series=whose // patients, cluster=whose, time=stop, event=event, exposed=used, entry=since, strata=stratum
    )


def main() -> None:
    """Write the table."""
    write(TABLE, (cell for patients in SIZES for cell in simulate(patients)))


if __name__ == "__main__":
    main()
