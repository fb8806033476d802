"""Print how fast bootstraps of curves and the interval-censored estimate are, beside lifelines, in one run.

python tests/benchmarks/time_to_event.py [--loops 40]

Nothing here is a test: the numbers depend on the machine and are printed for a person to read. lifelines is run in
`--loops` resamples only and its time multiplied up to 2,000; its variances are switched off, which favours it.
"""

from __future__ import annotations

import argparse
import time
import warnings

import numpy as np
from timing import best, say

REPLICATES, PATIENTS = 2_000, 200


def main() -> None:
    """Run every benchmark and print a line for each figure."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--loops", type=int, default=40, help="resamples that lifelines is given")
    all_of_them(arguments.parse_args().loops)


def all_of_them(loops: int = 40) -> None:
    """Every benchmark of this file."""
    bootstraps(loops)
    interval_censored()
    tests()


def beside(what: str, seconds: float, other: float | None = None) -> None:
    """One line: what was measured, how long it took, and how many times longer lifelines took."""
    ratio = "" if other is None else f"; lifelines {other:.3f} s = {other / seconds:,.0f} ×"
    say(what, f"{seconds:.4f} s{ratio}")


def series(n: int, seed: int = 1) -> tuple[np.ndarray, np.ndarray]:
    """Invented days and causes (0 censored, 1 resolved, 2 died, 3 operated), at most 180 days."""
    rng = np.random.default_rng(seed)
    day = np.ceil(rng.exponential(60, n)).astype(int)
    cause = rng.choice([1, 2, 3], n, p=[0.8, 0.1, 0.1])
    end = rng.integers(30, 181, n)
    return np.minimum(day, end), np.where(day > end, 0, cause)


def bootstraps(loops: int) -> None:
    """Median, incidence at day 90 and restricted mean time lost, in 2,000 resamples of patients."""
    from necrostats.stats.resampling import bootstrap, height_of, median_of, restricted_mean_of

    figures = [median_of(), height_of(90, 1), restricted_mean_of(180, 1)]
    theirs = _lifelines_bootstrap(*series(PATIENTS), loops) * REPLICATES / loops
    for n in (PATIENTS, 10_000, 100_000):
        day, cause = series(n)
        ours = best(lambda d=day, c=cause: bootstrap(d, c, figures, replicates=REPLICATES))
        beside(f"{REPLICATES:,} bootstraps of {n:,} patients, three figures", ours, theirs if n == PATIENTS else None)


def _lifelines_bootstrap(day: np.ndarray, cause: np.ndarray, loops: int) -> float:
    from lifelines import AalenJohansenFitter, KaplanMeierFitter

    rng = np.random.default_rng(2)
    start = time.perf_counter()
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        for _ in range(loops):
            rows = rng.integers(0, day.size, day.size)
            _ = KaplanMeierFitter().fit(day[rows], cause[rows] > 0).median_survival_time_
            fitted = AalenJohansenFitter(calculate_variance=False, seed=1).fit(day[rows], cause[rows], 1)
            curve = fitted.cumulative_density_
            _ = curve.loc[:90].iloc[-1, 0]
            _ = curve.iloc[:, 0].to_numpy() @ np.diff(np.minimum(np.append(curve.index, 180), 180))
    return time.perf_counter() - start


def interval_censored() -> None:
    """The estimate from scans, its likelihood beside that of lifelines, and its band."""
    from lifelines.fitters.npmle import npmle as lifelines_npmle

    from necrostats.stats.npmle import npmle, npmle_band

    rng = np.random.default_rng(3)
    true = rng.exponential(60, PATIENTS)
    scans = np.cumsum(rng.integers(7, 43, (PATIENTS, 30)), axis=1)
    left = np.where(scans < true[:, None], scans, 0).max(axis=1).astype(float)
    right = np.where(scans >= true[:, None], scans, 10_000).min(axis=1)
    right = np.where(right > 365, np.inf, right)
    left = np.minimum(left, 365)
    theirs = best(lambda: lifelines_npmle(left + 0.5, right), times=3)
    beside(f"interval-censored estimate, {PATIENTS} patients", best(lambda: npmle(left, right)), theirs)
    mass, stretches = lifelines_npmle(left + 0.5, right)
    held = [
        sum(p for p, (a, b) in zip(mass, stretches, strict=True) if low < a and b <= high)
        for low, high in zip(left, right, strict=True)
    ]
    print(f"  log-likelihood {npmle(left, right).log_likelihood:.6f}, lifelines {np.log(held).sum():.6f}", flush=True)
    beside("its band, 500 bootstraps", best(lambda: npmle_band(left, right, [90]), times=3))


def tests() -> None:
    """Tests and a regression on large series."""
    from necrostats.stats.cox import cox
    from necrostats.stats.curve_tests import gray_test, log_rank

    day, cause = series(100_000)
    group = np.random.default_rng(4).integers(0, 2, day.size)
    beside("log-rank test, 100,000 patients", best(lambda: log_rank(day, cause == 1, group=group)))
    beside("Gray's test, 100,000 patients", best(lambda: gray_test(day, cause, group=group)))
    _comprisk(day, cause, group, gray_test(day, cause, group=group).statistic)
    x = np.random.default_rng(5).normal(size=(day.size, 4))
    clusters = np.arange(day.size) // 2
    beside("Cox, 4 covariates, robust, 100,000 rows", best(lambda: cox(day, cause == 1, x, cluster=clusters), 1))


def _comprisk(day: np.ndarray, cause: np.ndarray, group: np.ndarray, ours: float) -> None:
    """The same test by comprisk, which the project does not need and measures only where somebody installed it."""
    try:
        from comprisk import gray_test as theirs
    except ImportError:
        print("  comprisk is not installed here; install it beside necrostats to see its time", flush=True)
        return
    found = theirs(day, cause, group)
    say("the same with comprisk", f"{best(lambda: theirs(day, cause, group)):.4f} s")
    print(f"  statistic {ours:.10f}, comprisk {found.stat:.10f}", flush=True)


if __name__ == "__main__":
    main()
