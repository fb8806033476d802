"""Processor seconds for a million intervals of each kind, beside one library interval at a time.

python tests/benchmarks/intervals.py [--million 1000000]; `run.py` calls `intervals()`.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable

import numpy as np
from timing import say

MILLION = 1_000_000
LOOP = 300


def main() -> None:
    """Print a line for each kind of interval."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--million", type=int, default=MILLION, help="how many intervals of each kind")
    intervals(arguments.parse_args().million)


def intervals(many: int = MILLION) -> None:
    """Closed forms (target 2 s a million), mid-P and Blaker (target 10 s), then a library's loop for as many."""
    from necrostats.stats.proportions import blaker, clopper_pearson, mid_p, wilson
    from necrostats.stats.rates import garwood
    from necrostats.stats.rates import mid_p as mid_p_rate

    rng = np.random.default_rng(1)
    n = rng.integers(1, 500, many)
    k = rng.binomial(n, 0.1)
    wide = rng.integers(1, 3000, many)
    far = rng.binomial(wide, rng.uniform(0, 1, many))
    for like, k_, n_ in (("as in registries", k, n), ("nearly all different", far, wide)):
        for name, seconds, run in (
            ("Clopper–Pearson", 2, lambda k=k_, n=n_: clopper_pearson(k, n)),
            ("Wilson", 2, lambda k=k_, n=n_: wilson(k, n)),
            ("Garwood", 2, lambda k=k_, n=n_: garwood(k, n * 31.0)),
            ("mid-P of a share", 10, lambda k=k_, n=n_: mid_p(k, n)),
            ("mid-P of a rate", 10, lambda k=k_, n=n_: mid_p_rate(k, n * 31.0)),
            ("Blaker", 10, lambda k=k_, n=n_: blaker(k, n)),
        ):
            say(f"{many:,} intervals, {like}: {name} (target < {seconds} s)", f"{_seconds(run):.2f} s")
    few = slice(0, LOOP)
    for name, run in _libraries(k[few].tolist(), n[few].tolist()).items():
        say(f"the same in a loop, {name}, from {LOOP}", f"{_seconds(run) / LOOP * many:,.0f} s")


def _libraries(k: list[int], n: list[int]) -> dict[str, Callable[[], object]]:
    """One interval at a time, as a reader of the manuals would write it."""
    from scipy.stats import binomtest
    from statsmodels.stats.proportion import proportion_confint

    pairs = list(zip(k, n, strict=True))
    return {
        "scipy binomtest().proportion_ci, exact": lambda: [binomtest(a, b).proportion_ci() for a, b in pairs],
        "scipy binomtest().proportion_ci, Wilson": lambda: [
            binomtest(a, b).proportion_ci(method="wilson") for a, b in pairs
        ],
        "statsmodels proportion_confint, exact": lambda: [proportion_confint(a, b, method="beta") for a, b in pairs],
    }


def _seconds(run: Callable[[], object]) -> float:
    """Processor seconds, so that what else the machine does is not counted; everything here runs on one core."""
    start = time.process_time()
    run()
    return time.process_time() - start


if __name__ == "__main__":
    main()
