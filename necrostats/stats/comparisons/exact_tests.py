"""Exact tests of two shares, each two-sided and each with its name.

χ² tests of two shares, with and without continuity correction: never without saying which.

One exact test of several shares.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from necrostats.errors import StatisticsError, unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.comparisons.common import Test, TwoGroups, nothing_to_compare, one_table, two_sided

BOSCHLOO = "Boschloo's exact test"
FISHER = "Fisher's exact test"
MOST_PAIRS, MOST_IN_ALL = 41_000, 50_000_000
FISHER_MID_P = "Fisher's exact test with mid-P"


def boschloo(events: float, n: float, events_ref: float, n_ref: float) -> Test:
    """Boschloo's test: two-sided p is twice the smaller one-sided p, at most 1. Stat Neerl 1970;24:1-35.

    Its work grows with the product of the group sizes: above 41,000 it is not computed (NaN and a note).
    """
    if (checks.counts("n", n) + 1) * (checks.counts("n_ref", n_ref) + 1) > MOST_PAIRS:
        return _too_many(BOSCHLOO, "Fisher's or the χ² test")
    return _by_scipy(BOSCHLOO, stats.boschloo_exact, one_table(events, n, events_ref, n_ref))


def fisher(events: float, n: float, events_ref: float, n_ref: float) -> Test:
    """Fisher's test: two-sided p sums all tables no more probable than the one seen, as in R and SAS.

    Above 50 million in all it is not computed (NaN and a note); so too with mid-P.
    """
    groups = one_table(events, n, events_ref, n_ref)
    if groups.n + groups.m > MOST_IN_ALL:
        return _too_many(FISHER, "the χ² test")
    return _by_scipy(FISHER, stats.fisher_exact, groups)


def fisher_mid_p(events: float, n: float, events_ref: float, n_ref: float) -> Test:
    """Fisher's test counting the table seen by half: twice the smaller tail. Lancaster HO. JASA 1961;56:223-234."""
    groups = one_table(events, n, events_ref, n_ref)
    if groups.empty or groups.no_contrast:
        return _no_test(FISHER_MID_P, groups)
    if groups.n + groups.m > MOST_IN_ALL:
        return _too_many(FISHER_MID_P, "the χ² test")
    a = int(groups.a)
    seen = stats.hypergeom(int(groups.n + groups.m), int(groups.a + groups.b), int(groups.n))
    half = seen.pmf(a) / 2
    return Test(p_value=two_sided(seen.cdf(a - 1) + half, seen.sf(a) + half), test=FISHER_MID_P)


def _by_scipy(name: str, test: object, groups: TwoGroups) -> Test:
    """scipy takes the groups as columns."""
    if groups.empty or groups.no_contrast:
        return _no_test(name, groups)
    return Test(p_value=min(1.0, float(test(groups.cells()).pvalue)), test=name)


def _too_many(name: str, instead: str) -> Test:
    text = f"{name} is not computed for groups as large as these: ask for {instead}."
    return Test(p_value=np.nan, test=name, notes=(Note(code="NOT_CONVERGED", text=text),))


def _no_test(name: str, groups: TwoGroups) -> Test:
    return Test(p_value=np.nan, test=name, notes=nothing_to_compare(groups))


UNCORRECTED = "uncorrected χ² test"
YATES = "χ² test with Yates' correction"


def chi_squared(events: float, n: float, events_ref: float, n_ref: float) -> Test:
    """Pearson's χ² on one degree of freedom, no continuity correction. Pearson K. Phil Mag 1900;50:157-175."""
    return _test(UNCORRECTED, one_table(events, n, events_ref, n_ref), 0.0)


def yates(events: float, n: float, events_ref: float, n_ref: float) -> Test:
    """χ² with Yates' correction, for checking what is in print. Suppl J R Stat Soc 1934;1:217-235."""
    return _test(YATES, one_table(events, n, events_ref, n_ref), 0.5)


def _test(name: str, groups: TwoGroups, correction: float) -> Test:
    if groups.empty or groups.no_contrast:
        return Test(p_value=np.nan, test=name, notes=nothing_to_compare(groups))
    expected = expected_counts(groups)
    distance = np.abs(groups.cells() - expected)
    statistic = float(np.sum((distance - np.minimum(correction, distance)) ** 2 / expected))
    return Test(p_value=float(stats.chi2.sf(statistic, 1)), test=name, statistic=statistic)


def expected_counts(groups: TwoGroups) -> np.ndarray:
    """What each cell of one table would hold if both groups had one share; cells as in `TwoGroups.cells`."""
    cells = groups.cells().astype(float)
    return cells.sum(axis=1, keepdims=True) * cells.sum(axis=0, keepdims=True) / cells.sum()


FREEMAN_HALTON = "Fisher–Freeman–Halton exact test"
MOST_TABLES = 5_000_000
TIE = 1e-7


def freeman_halton(events: ArrayLike, n: ArrayLike) -> Test:
    """Exact test that all groups have one share: `events` of `n`, one row a group (g,).

    Every table with these margins is listed; p sums those no more probable than the one seen (to 1 in 10 million, as
    R's fisher.test). Freeman GH, Halton JH. Biometrika 1951;38:141-149. Groups with nobody are passed over. Raises
    StatisticsError when there are more than 5 million tables: the groups are large enough for χ² then.
    """
    k, size = checks.events_of(checks.listed("events", events), checks.listed("n", n))
    checks.one_length(events=k, n=size)
    k, size = k[size > 0], size[size > 0]
    if k.size < 2 or k.sum() in (0, size.sum()):
        text = "Fewer than two groups, no events, or nothing but events: there is nothing to test."
        return Test(p_value=np.nan, test=FREEMAN_HALTON, notes=(Note(code="ZERO_EVENTS", text=text),))
    log_seen = float(np.sum(_log_ways(size, k)))
    listed = _log_tables(size, int(k.sum()))
    log_all = special.logsumexp(listed)
    return Test(
        p_value=float(min(1.0, np.exp(special.logsumexp(listed[listed <= log_seen + TIE]) - log_all))),
        test=FREEMAN_HALTON,
    )


def _log_ways(n: np.ndarray | float, k: np.ndarray) -> np.ndarray:
    return special.gammaln(n + 1) - special.gammaln(k + 1) - special.gammaln(n - k + 1)


def _log_tables(size: np.ndarray, events: int) -> np.ndarray:
    """The log number of ways of every table with these group sizes and this many events."""
    left, logs = np.array([events]), np.zeros(1)
    for place, n in enumerate(size):
        rest, most = size[place + 1 :].sum(), int(min(n, events))
        if left.size * (most + 1) > MOST_TABLES:
            raise StatisticsError("There are too many tables for an exact test of these groups. Use a χ² test.")
        taken = np.arange(most + 1)
        left, logs = left[:, None] - taken, logs[:, None] + _log_ways(n, taken)
        possible = (left >= 0) & (left <= rest)
        left, logs = left[possible], logs[possible]
    return logs


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
