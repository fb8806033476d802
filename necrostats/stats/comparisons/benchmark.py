"""One share against a stated value, such as one in print."""

from __future__ import annotations

import numpy as np
from scipy import stats

from necrostats.errors import unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.comparisons.common import Test

ALTERNATIVES = ("two-sided", "greater", "less")
TEST = "exact binomial test"


def share_against(events: float, n: float, benchmark: float, *, alternative: str = "two-sided") -> Test:
    """Exact test that `events` of `n` come from a share of `benchmark`, 0 to 1.

    Two-sided p sums what is no more probable than what was seen, as R's binom.test. Clopper CJ, Pearson ES. Biometrika
    1934;26:404-413. n of 0: NaN and a note. It takes the benchmark as known: one from a series has its own uncertainty.
    """
    if alternative not in ALTERNATIVES:
        raise unknown_choice("alternative", alternative, ALTERNATIVES)
    k, total = checks.events_of(events, n)
    share = checks.finite("benchmark", benchmark)
    checks.refuse("benchmark", np.atleast_1d(share), np.atleast_1d((share < 0) | (share > 1)), "is no share, 0 to 1.")
    if not total:
        return Test(p_value=np.nan, test=TEST, notes=(Note(code="SMALL_N", text="n is 0: there is nothing to test."),))
    found = stats.binomtest(int(k), int(total), float(share), alternative=alternative)
    return Test(p_value=float(found.pvalue), test=TEST if alternative == "two-sided" else f"{TEST}, {alternative}")
