"""Two yes/no answers of the same subjects: the tests of McNemar, which look at those whose two answers differ."""

from __future__ import annotations

import numpy as np
from scipy import stats

from necrostats.errors import StatisticsError, unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.comparisons.common import Test

METHODS = {
    "exact": "McNemar's exact test",
    "mid-P": "McNemar's test with mid-P",
    "corrected": "McNemar's χ² test with continuity correction",
    "uncorrected": "McNemar's χ² test without continuity correction",
}


def mcnemar(first_only: float, second_only: float, *, method: str = "exact") -> Test:
    """Did as many change one way as the other? `first_only` said yes the first time only, `second_only` the second.

    "exact": binomial, twice the smaller tail, at most 1; "mid-P": less the probability of what was seen; "corrected" as
    R's mcnemar.test; "uncorrected" χ². McNemar Q. Psychometrika 1947;12:153-157; Fagerland MW et al. BMC Med Res
    Methodol 2013;13:91. Nobody changed: NaN and a note.
    """
    if method not in METHODS:
        raise unknown_choice("McNemar test", method, METHODS)
    b, c = (_one(name, each) for name, each in (("first_only", first_only), ("second_only", second_only)))
    if not b + c:
        note = Note(code="ZERO_EVENTS", text="Nobody's two answers differ: there is nothing to test.")
        return Test(p_value=np.nan, test=METHODS[method], notes=(note,))
    if method in ("exact", "mid-P"):
        seen = stats.binom(b + c, 0.5)
        spare = seen.pmf(b) if method == "mid-P" else 0.0
        return Test(p_value=float(min(1.0, 2 * seen.cdf(min(b, c)) - spare)), test=METHODS[method])
    statistic = max(abs(b - c) - (method == "corrected"), 0) ** 2 / (b + c)
    return Test(p_value=float(stats.chi2.sf(statistic, 1)), test=METHODS[method], statistic=float(statistic))


def _one(name: str, value: float) -> int:
    number = checks.counts(name, value)
    if number.ndim:
        raise StatisticsError(f"{name} holds several numbers: this compares one pair of counts at a time.")
    return int(number)
