"""Exact tests of two shares, each two-sided and each with its name."""

from __future__ import annotations

import numpy as np
from scipy import stats

from necrostats.stats.comparisons.common import Test, TwoGroups, nothing_to_compare, one_table, two_sided

BOSCHLOO = "Boschloo's exact test"
FISHER = "Fisher's exact test"
FISHER_MID_P = "Fisher's exact test with mid-P"


def boschloo(events: float, n: float, events_ref: float, n_ref: float) -> Test:
    """Boschloo's test: two-sided p is twice the smaller one-sided p, at most 1. Stat Neerl 1970;24:1-35."""
    return _by_scipy(BOSCHLOO, stats.boschloo_exact, one_table(events, n, events_ref, n_ref))


def fisher(events: float, n: float, events_ref: float, n_ref: float) -> Test:
    """Fisher's test: two-sided p sums all tables no more probable than the one seen, as in R and SAS."""
    return _by_scipy(FISHER, stats.fisher_exact, one_table(events, n, events_ref, n_ref))


def fisher_mid_p(events: float, n: float, events_ref: float, n_ref: float) -> Test:
    """Fisher's test counting the table seen by half: twice the smaller tail. Lancaster HO. JASA 1961;56:223-234."""
    groups = one_table(events, n, events_ref, n_ref)
    if groups.empty or groups.no_contrast:
        return _no_test(FISHER_MID_P, groups)
    a = int(groups.a)
    seen = stats.hypergeom(int(groups.n + groups.m), int(groups.a + groups.b), int(groups.n))
    half = seen.pmf(a) / 2
    return Test(p_value=two_sided(seen.cdf(a - 1) + half, seen.sf(a) + half), test=FISHER_MID_P)


def _by_scipy(name: str, test: object, groups: TwoGroups) -> Test:
    """scipy takes the groups as columns."""
    if groups.empty or groups.no_contrast:
        return _no_test(name, groups)
    return Test(p_value=min(1.0, float(test(groups.cells()).pvalue)), test=name)


def _no_test(name: str, groups: TwoGroups) -> Test:
    return Test(p_value=np.nan, test=name, notes=nothing_to_compare(groups))
