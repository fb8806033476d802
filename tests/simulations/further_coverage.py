"""How often the limits of the remaining figures of resolution hold the truth.

Run by hand in tests/: `python -m simulations.further_coverage` writes further_coverage.csv beside this file. They are:
incidence and median where patients come under observation late; the length of follow-up; resolutions per patient-day;
of necrosectomies with and without a class of instrument, the share that was enough, and the difference; mean
necrosectomies of the resolved, and a difference of such means; and the ratio of times of two groups whose days are
known only between scans. The seed is fixed and belongs to the size.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from necrostats.stats.clustered import share_difference
from necrostats.stats.incidence import aalen_johansen, at, follow_up, quantile
from necrostats.stats.intervals import Interval
from necrostats.stats.means import mean, mean_difference
from necrostats.stats.parametric_times import parametric_times
from necrostats.stats.proportions import korn_graubard
from necrostats.stats.rates import garwood
from simulations.scan_range_coverage import between_scans, log_normal
from simulations.session_coverage import OTHERWISE, Ends, chances, courses
from simulations.tables import Cell, Limits, cells, portions, stacked, write
from simulations.two_causes import LAST_SEEN, ends, truth

SEED = 20_260_807
REPLICATES, AT_ONCE = 2_000, 100
SIZES = (15, 40, 100)
DAY = 60
HAZARDS = (0.02, 0.004)
LATE, LATEST = 0.4, 30
ENOUGH = np.array([0.25, 0.4])
RATIO = 1.5
TABLE = Path(__file__).with_suffix(".csv")


def simulate(patients: int, replicates: int = REPLICATES) -> list[Cell]:
    """Coverage of every interval at one size, its seed made from the size."""
    rng = np.random.default_rng([SEED, patients])
    return cells(patients, (_limits(rng, patients, size) for size in portions(replicates, AT_ONCE)))


def _limits(rng: np.random.Generator, patients: int, series: int) -> dict[str, Limits]:
    one_by_one = (
        {**_by_session(rng, patients), **_means(rng, patients), **_time_ratio(rng, patients)} for _ in range(series)
    )
    return {**_late_entry(rng, patients, series), **_followed(rng, patients, series), **stacked(one_by_one)}


def _late_entry(rng: np.random.Generator, patients: int, series: int) -> dict[str, Limits]:
    """Two in five come under observation only on a day up to 30, if their course has not ended by then."""
    size = patients * series
    time, cause, entry = (np.zeros(size, dtype=np.int64) for _ in range(3))
    open_ = np.arange(size)
    while open_.size:
        found = ends(rng, HAZARDS, np.arange(open_.size))
        since = np.where(rng.random(open_.size) < LATE, rng.integers(1, LATEST + 1, open_.size), 0)
        time[open_], cause[open_], entry[open_] = found.time, found.cause, since
        open_ = open_[since >= found.time]
    curve = aalen_johansen(time, cause, entry=entry, group=np.arange(size) // patients, causes=(1, 2))
    height, middle, true = at(curve, DAY), quantile(curve), truth(HAZARDS, np.arange(300)).first
    return {
        f"incidence at {DAY}, late entry": _these(true[DAY], height.low[:, 0, 0], height.high[:, 0, 0]),
        "median, late entry": _these(np.argmax(true >= 0.5), middle.low[:, 0], middle.high[:, 0]),
    }


def _followed(rng: np.random.Generator, patients: int, series: int) -> dict[str, Limits]:
    """Median follow-up, and resolutions over patient-days; an end counts on a whole day, so does its hazard."""
    whose = np.arange(patients * series)
    found, group = ends(rng, HAZARDS, whose), whose // patients
    rate = garwood(np.bincount(group, found.cause == 1), np.bincount(group, found.time))
    last = ends(rng, (1e-12, HAZARDS[1]), whose)
    middle = follow_up(last.time, last.cause, group=group)
    return {
        "median follow-up": _these(np.mean(LAST_SEEN), middle.low, middle.high),
        "resolutions per day": _these(-np.expm1(-HAZARDS[0]), rate.low, rate.high),
    }


def _by_session(rng: np.random.Generator, patients: int) -> dict[str, Limits]:
    """Necrosectomies with and without a class, chosen at random, until one was enough or the patient is lost."""
    used = rng.integers(0, 2, (patients, 12))
    enough = rng.random(used.shape) < ENOUGH[used]
    over = enough | (rng.random(used.shape) < 0.1)
    done = np.cumsum(over, axis=1) - over == 0
    patient, number = np.nonzero(done)
    y, x = enough[done].astype(int), used[done]
    gap = float(ENOUGH[1] - ENOUGH[0])
    return {
        "share of necrosectomies that were enough": _of(
            korn_graubard(y[x == 0], np.ones(np.count_nonzero(x == 0)), patient[x == 0]), ENOUGH[0]
        ),
        "difference of such shares": _of(share_difference(y, x, patient), gap),
        "difference of such shares, by session number": _of(share_difference(y, x, patient, stratum=number), gap),
    }


def _means(rng: np.random.Generator, patients: int) -> dict[str, Limits]:
    """Mean necrosectomies of those who resolved, nobody lost, and the difference from a like group."""
    resolved = chances("logit", np.zeros(2 * patients))
    found = courses(rng, resolved, 0.0)
    one, two = (_resolved(found, part) for part in (slice(patients), slice(patients, None)))
    return {
        "mean sessions of the resolved": _of(mean(one), _true_mean(resolved[0])),
        "difference of such means": _of(mean_difference(one, two), 0.0),
    }


def _resolved(found: Ends, part: slice) -> np.ndarray:
    return found.sessions[part][found.cause[part] == 1]


def _true_mean(resolved: np.ndarray) -> float:
    before = np.concatenate([[1.0], np.cumprod(1 - resolved - OTHERWISE)[:-1]])
    return float(np.average(np.arange(resolved.size), weights=before * resolved))


def _time_ratio(rng: np.random.Generator, patients: int) -> dict[str, Limits]:
    exposed = np.repeat([0.0, 1.0], patients)
    rows = between_scans(rng, log_normal(rng, exposed.size) * RATIO**exposed)
    fit = parametric_times(rows.left, rows.right, exposed, shape="log-normal")
    return {"ratio of times, log-normal": _these(np.log(RATIO), fit.low[1], fit.high[1])}


def _of(found: Interval, true: float) -> Limits:
    return _these(true, found.low, found.high)


def _these(true: float, low: float | np.ndarray, high: float | np.ndarray) -> Limits:
    return Limits(truth=float(true), low=np.asarray(low), high=np.asarray(high))


def main() -> None:
    """Write the table."""
    write(TABLE, (cell for patients in SIZES for cell in simulate(patients)))


if __name__ == "__main__":
    main()
