"""How often the limits of figures by session number hold the truth.

Run by hand in tests/: `python -m simulations.session_coverage` writes session_coverage.csv beside this file. At each
number of sessions a patient still under treatment is resolved or ends otherwise with a fixed chance, and after it may
be lost; the seed is fixed and belongs to the size. Incidences and medians are those of `measures.curves`, with
Clopper–Pearson where fewer than 30 and none lost. `patients` is the size of one group; odds and hazard ratios are of
two groups of that size, the true ratio 2, a term for each session number.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import special

from necrostats.measures.curves import event_free, incidence
from necrostats.measures.grouping import Grouping
from necrostats.stats.discrete_hazard import discrete_hazard
from necrostats.stats.event_tables import event_table
from necrostats.stats.incidence import aalen_johansen_of, kaplan_meier_of
from necrostats.stats.restricted_means import heights, restricted_mean
from simulations.neighbours import differences
from simulations.tables import Cell, Limits, cells, portions, stacked, write

SEED = 20_260_805
REPLICATES, AT_ONCE = 2_000, 100
SIZES = (15, 40, 100)
MOST, TAU = 25, 8
POINTS = (0, 1, 3, 5)
RESOLVED, OTHERWISE, LOST = 0.25, 0.04, 0.05
FROM_DRAINAGE = 0.15
RATIO = 2.0
CAUSES = ("resolved", "otherwise")
TABLE = Path(__file__).with_suffix(".csv")


@dataclass(frozen=True, kw_only=True)
class Ends:
    """Sessions at the end of each course (N,), and its cause: 0 where the patient was lost."""

    sessions: np.ndarray
    cause: np.ndarray


def chances(link: str, exposed: np.ndarray) -> np.ndarray:
    """The chance of resolution at each number of sessions (N, MOST): that of the exposed by the ratio of the link."""
    each = np.full(MOST, RESOLVED)
    each[0] = FROM_DRAINAGE
    if link == "logit":
        return special.expit(special.logit(each) + np.log(RATIO) * exposed[:, None])
    return -np.expm1(np.log1p(-each) * RATIO ** exposed[:, None])


def courses(rng: np.random.Generator, resolved: np.ndarray, lost: float) -> Ends:
    """Ends of courses with such chances of resolution (N, MOST) at 0, 1, 2 … sessions."""
    draw = rng.random(resolved.shape)
    state = np.where(draw < resolved, 1, np.where(draw < resolved + OTHERWISE, 2, 0))
    gone = rng.random(resolved.shape) < lost
    gone[:, -1] = True
    over = (state > 0) | gone
    sessions = over.argmax(axis=1)
    return Ends(sessions=sessions, cause=state[np.arange(sessions.size), sessions])


def true_incidence() -> np.ndarray:
    """The share resolved within 0, 1, 2 … sessions, and by all ends together (2, MOST)."""
    resolved = chances("logit", np.zeros(1))[0]
    before = np.concatenate([[1.0], np.cumprod(1 - resolved - OTHERWISE)])
    return np.stack([np.cumsum(before[:-1] * resolved), 1 - before[1:]])


def simulate(patients: int, replicates: int = REPLICATES) -> list[Cell]:
    """Coverage of every interval at one size, its seed made from the size."""
    rng = np.random.default_rng([SEED, patients])
    return cells(patients, (_limits(rng, patients, size) for size in portions(replicates, AT_ONCE)))


def _limits(rng: np.random.Generator, patients: int, series: int) -> dict[str, Limits]:
    group = np.repeat(np.arange(2 * series), patients)
    plain = chances("logit", np.zeros(group.size))
    some, none = courses(rng, plain, LOST), courses(rng, plain, 0.0)
    found = {**_shown(some, group, ""), **_shown(none, group, ", nobody lost"), **dict(_figures(some, group))}
    for link, name in (("logit", "odds ratio a session"), ("cloglog", "hazard ratio a session")):
        exposed = group % 2
        ends = courses(rng, chances(link, exposed), LOST)
        found |= stacked(
            _model(ends, exposed, np.flatnonzero(group // 2 == place), link, name) for place in range(series)
        )
    return found


def _shown(ends: Ends, group: np.ndarray, also: str) -> dict[str, Limits]:
    """Limits as the measures show them, of each group."""
    groups = Grouping(labels=tuple(map(str, range(group.max() + 1))), codes=group)
    true = true_incidence()
    axis = {"axis": "sessions", "landmarks": POINTS, "level": 0.95}
    curve = incidence(ends.sessions, ends.cause, groups, CAUSES, **axis)
    still = event_free(ends.sessions, ends.cause > 0, groups, "still", **axis)
    resolved = curve.table[curve.table["cause"] == "resolved"]
    middle = curve.medians[curve.medians["cause"] == "resolved"]
    return {
        **{f"resolved within {k}{also}": _of(resolved[resolved["sessions"] == k], true[0, k]) for k in POINTS},
        f"median sessions{also}": _of(middle, float(np.argmax(true[0] >= 0.5))),
        f"still needing more after 3{also}": _of(still.table[still.table["sessions"] == 3], 1 - true[1, 3]),
    }


def _of(table: pd.DataFrame, true: float) -> Limits:
    return Limits(truth=true, low=table["low"].to_numpy(), high=table["high"].to_numpy())


def _figures(ends: Ends, group: np.ndarray) -> Iterator[tuple[str, Limits]]:
    """Restricted means and differences, of each group and of neighbours."""
    table = event_table(ends.sessions, ends.cause, group=group, causes=CAUSES)
    true, curve = true_incidence(), aalen_johansen_of(table)
    lost, kept = restricted_mean(curve, TAU), restricted_mean(kaplan_meier_of(table), TAU)
    yield "sessions before any end", Limits(truth=float(np.sum(1 - true[1, :TAU])), low=kept.low, high=kept.high)
    yield (
        "sessions spared by resolution",
        Limits(truth=float(true[0, :TAU].sum()), low=lost.low[:, 0], high=lost.high[:, 0]),
    )
    yield "difference in sessions before any end", differences(kept)
    yield "difference in sessions spared by resolution", differences(lost, 0)
    yield "difference in resolved within 3", differences(heights(curve, 3), 0)


def _model(ends: Ends, exposed: np.ndarray, rows: np.ndarray, link: str, name: str) -> dict[str, Limits]:
    fit = discrete_hazard(ends.sessions[rows], ends.cause[rows] == 1, exposed[rows], link=link, first=0, cap=TAU)
    return {name: Limits(truth=float(np.log(RATIO)), low=fit.low[0], high=fit.high[0])}


def main() -> None:
    """Write the table."""
    write(TABLE, (cell for patients in SIZES for cell in simulate(patients)))


if __name__ == "__main__":
    main()
