"""One odds ratio over several strata."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.comparisons.common import Contrast, TwoGroups, two_groups

METHOD = "Mantel–Haenszel, limits by Robins, Breslow and Greenland"
TEST = "Mantel–Haenszel χ² test with continuity correction"
TEST_UNCORRECTED = "Mantel–Haenszel χ² test without continuity correction"


def mantel_haenszel(
    events: ArrayLike,
    n: ArrayLike,
    events_ref: ArrayLike,
    n_ref: ArrayLike,
    *,
    level: float = 0.95,
    continuity: bool = True,
) -> Contrast:
    """The odds ratio common to all strata, one row a stratum (s,), with its limits and a test.

    Mantel N, Haenszel W. J Natl Cancer Inst 1959;22:719-748; variance of the log: Robins J, Breslow N, Greenland S.
    Biometrics 1986;42:311-323. It supposes one ratio in all strata. Strata with an empty group, with no events or
    with nothing but events say nothing and are passed over, counted in a note. No contrast left: NaN and a note.
    """
    z = special.ndtri((1 + checks.confidence_level(level)) / 2)
    groups = two_groups(*(np.atleast_1d(each) for each in (events, n, events_ref, n_ref)))
    silent = groups.empty | groups.no_contrast
    told = groups.at(~silent)
    notes = _passed_over(int(np.count_nonzero(silent)), silent.size)
    test = TEST if continuity else TEST_UNCORRECTED
    if not told.a.size:
        return Contrast(
            estimate=np.nan, low=np.nan, high=np.nan, measure="common odds ratio", method=METHOD, test=test, notes=notes
        )
    ratio, half = _common(told, z)
    if np.isnan(half):
        notes += (Note(code="ZERO_EVENTS", text="A product of cells is 0 in every stratum: the ratio has no limits."),)
    return Contrast(
        estimate=ratio,
        low=float(ratio * np.exp(-half)),
        high=float(ratio * np.exp(half)),
        measure="common odds ratio",
        method=METHOD,
        p_value=_p_value(told, continuity),
        test=test,
        notes=notes,
    )


def _common(groups: TwoGroups, z: float) -> tuple[float, float]:
    """The ratio, and half the width of its interval on the log scale: NaN where it is 0 or infinite."""
    a, b, c, d = groups.a, groups.n - groups.a, groups.b, groups.m - groups.b
    total = a + b + c + d
    r, s, p, q = a * d / total, b * c / total, (a + d) / total, (b + c) / total
    if not r.sum() or not s.sum():
        return (np.inf if r.sum() else 0.0 if s.sum() else np.nan), np.nan
    variance = (
        np.sum(p * r) / (2 * r.sum() ** 2)
        + np.sum(p * s + q * r) / (2 * r.sum() * s.sum())
        + np.sum(q * s) / (2 * s.sum() ** 2)
    )
    return float(r.sum() / s.sum()), float(z * np.sqrt(variance))


def _p_value(groups: TwoGroups, continuity: bool) -> float:
    total, events = groups.n + groups.m, groups.a + groups.b
    distance = abs(float(np.sum(groups.a - groups.n * events / total)))
    spread = np.sum(groups.n * groups.m * events * (total - events) / (total**2 * (total - 1)))
    correction = 0.5 if continuity and distance >= 0.5 else 0.0
    return float(stats.chi2.sf((distance - correction) ** 2 / spread, 1))


def _passed_over(silent: int, strata: int) -> tuple[Note, ...]:
    if not silent:
        return ()
    why = "an empty group, no events, or nothing but events"
    if silent == strata:
        return (Note(code="ZERO_EVENTS", text=f"Every stratum has {why}: nothing can be compared."),)
    return (Note(code="ZERO_EVENTS", text=f"{silent:,} of {strata:,} strata say nothing ({why}) and are passed over."),)
