"""One exact test of several shares."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from necrostats.errors import StatisticsError
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.comparisons.common import Test

FREEMAN_HALTON = "Fisher–Freeman–Halton exact test"
MOST_TABLES = 5_000_000
TIE = 1e-7


def freeman_halton(events: ArrayLike, n: ArrayLike) -> Test:
    """Exact test that all groups have one share: `events` of `n`, one row a group (g,).

    Every table with these margins is listed; p sums those no more probable than the one seen (to 1 in 10 million, as
    R's fisher.test). Freeman GH, Halton JH. Biometrika 1951;38:141-149. Groups with nobody are passed over. Raises
    StatisticsError when there are more than 5 million tables: the groups are large enough for χ² then.
    """
    k, size = checks.events_of(np.atleast_1d(events), np.atleast_1d(n))
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
