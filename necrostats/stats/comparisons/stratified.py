"""Two groups compared within strata (Mantel–Haenszel), and two answers of the same subjects (McNemar)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from necrostats.errors import StatisticsError, unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.comparisons.common import Contrast, Test, TwoGroups, two_groups

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
    given = {"events": events, "n": n, "events_ref": events_ref, "n_ref": n_ref}
    groups = two_groups(*(checks.listed(name, each) for name, each in given.items()))
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


def breslow_day(
    events: ArrayLike, n: ArrayLike, events_ref: ArrayLike, n_ref: ArrayLike, *, tarone: bool = True
) -> Test:
    """Do all strata have one odds ratio? One row a stratum (s,); a χ² test on s − 1 degrees of freedom.

    `tarone`: with his correction. Breslow NE, Day NE. Statistical Methods in Cancer Research I, IARC 1980, section 4.4;
    Tarone RE. Biometrika 1985;72:91-95. Silent strata are passed over as by `mantel_haenszel`; fewer than two left,
    or a common ratio of 0 or infinity: NaN and a note. With few in a stratum its p-value is a rough guide.
    """
    given = {"events": events, "n": n, "events_ref": events_ref, "n_ref": n_ref}
    groups = two_groups(*(checks.listed(name, each) for name, each in given.items()))
    silent = groups.empty | groups.no_contrast
    told = groups.at(~silent)
    notes = _passed_over(int(np.count_nonzero(silent)), silent.size)
    name = "Breslow–Day test" + (" with Tarone's correction" if tarone else "")
    ratio = _common(told, 1.0)[0] if told.a.size else np.nan
    if told.a.size < 2 or not 0 < ratio < np.inf:
        text = "Fewer than two strata tell of a ratio, or the common one is 0 or infinite: nothing can be tested."
        return Test(p_value=np.nan, test=name, notes=(*notes, Note(code="SMALL_N", text=text)))
    expected = _expected(told, ratio)
    cells = np.stack([expected, told.n - expected, told.a + told.b - expected, told.m - told.a - told.b + expected])
    variance = 1 / np.sum(1 / cells, axis=0)
    statistic = float(np.sum((told.a - expected) ** 2 / variance))
    if tarone:
        statistic -= float(np.sum(told.a - expected) ** 2 / np.sum(variance))
    return Test(p_value=float(stats.chi2.sf(statistic, told.a.size - 1)), test=name, statistic=statistic, notes=notes)


def _expected(groups: TwoGroups, ratio: float) -> np.ndarray:
    """The events of the group that its margins give in each stratum (s,) under a common odds ratio."""
    events = groups.a + groups.b
    if ratio == 1:
        return groups.n * events / (groups.n + groups.m)
    a, b, c = 1 - ratio, groups.m - events + ratio * (groups.n + events), -ratio * groups.n * events
    root = np.sqrt(b**2 - 4 * a * c)
    return -2 * c / (b + root)


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
