"""Two shares compared: tests by name, and the one that their size calls for with the reason in words.

Exact tests, each two-sided, and χ² tests with and without continuity correction, never without saying which; one exact
test of several shares.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from necrostats.errors import StatisticsError, unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.comparisons.common import Contrast, Test, TwoGroups, nothing_to_compare, one_table, two_sided
from necrostats.stats.comparisons.risk_difference import odds_ratio, risk_difference, risk_ratio
from necrostats.stats.proportions import blaker, clopper_pearson, mid_p, wilson

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


FEW = 5
BOSCHLOO_UP_TO = 200
NO_TEST = "No test: a group is empty, or both have the same certain outcome."
TOO_MANY = "No test: the exact test is not computed for groups as large as these."

TESTS: dict[str, Callable[..., Test]] = {
    "boschloo": boschloo,
    "fisher": fisher,
    "fisher mid-P": fisher_mid_p,
    "chi-squared": chi_squared,
    "yates": yates,
}
MEASURES: dict[str, Callable[..., Contrast]] = {
    "risk difference": risk_difference,
    "risk ratio": risk_ratio,
    "odds ratio": odds_ratio,
}


@dataclass(frozen=True, kw_only=True, eq=False)
class ChosenContrast(Contrast):
    """A contrast whose test was chosen by the size of the groups: `rule` says in a sentence why this one."""

    rule: str


@dataclass(frozen=True, kw_only=True)
class Choice:
    """The name of a test in TESTS, and the sentence that says why it was taken."""

    test: str
    rule: str


def compare_proportions(
    events: float,
    n: float,
    events_ref: float,
    n_ref: float,
    *,
    level: float = 0.95,
    measure: str = "risk difference",
    method: str | None = None,
    test: str | None = None,
) -> ChosenContrast:
    """A contrast of two shares of independent units, with its limits and a named two-sided test; one pair of groups.

    `measure` "risk difference", "risk ratio" or "odds ratio"; `method` one of that measure's (default: its first).
    `test` a name in TESTS; by default exact with a count below 5 or an expected count below 5 (Boschloo's test up to
    200 in all, Fisher's beyond), else χ² without correction. Empty groups and groups without contrast give NaN and
    notes. Units that come in clusters (several rows a patient) are not independent: neither the limits nor the test
    allow for that. Raises StatisticsError for counts that cannot be.
    """
    if measure not in MEASURES:
        raise unknown_choice("measure of two shares", measure, MEASURES)
    if test is not None and test not in TESTS:
        raise unknown_choice("test of two shares", test, TESTS)
    groups = one_table(events, n, events_ref, n_ref)
    counts = (events, n, events_ref, n_ref)
    contrast = MEASURES[measure](*counts, level=level, **({} if method is None else {"method": method}))
    choice = choose_test(groups) if test is None else Choice(test=test, rule="This test was asked for by name.")
    tested = TESTS[choice.test](*counts)
    notes = contrast.notes + tuple(note for note in tested.notes if note not in contrast.notes)
    shown = replace(contrast, p_value=tested.p_value, test=tested.test, notes=notes)
    if np.isnan(tested.p_value):
        certain = bool(groups.empty or groups.no_contrast)
        return ChosenContrast(**vars(replace(shown, test="")), rule=NO_TEST if certain else TOO_MANY)
    return ChosenContrast(**vars(shown), rule=choice.rule)


def choose_test(groups: TwoGroups) -> Choice:
    """The test for one table, by the rule of `compare_proportions`."""
    reason = _why_exact(groups)
    if not reason:
        return Choice(
            test="chi-squared",
            rule=f"Uncorrected χ²: every count and every expected count is {FEW} or more.",
        )
    total = int(groups.n + groups.m)
    if total <= BOSCHLOO_UP_TO:
        return Choice(test="boschloo", rule=f"Boschloo's exact test: {reason}.")
    return Choice(
        test="fisher", rule=f"Fisher's exact test: {reason}, and {total:,} in all is more than {BOSCHLOO_UP_TO}."
    )


def _why_exact(groups: TwoGroups) -> str:
    if groups.empty:
        return "a group is empty"
    least = int(groups.cells().min())
    if least == 0:
        return "a cell of the table is empty"
    events = int(min(groups.a, groups.b))
    if events < FEW:
        return f"a group has fewer than {FEW} events ({events})"
    if least < FEW:
        return f"a group has fewer than {FEW} without an event ({least})"
    expected = float(expected_counts(groups).min())
    return f"an expected count is below {FEW} ({expected:.1f})" if expected < FEW else ""


TEST_TITLES: Mapping[str, str] = {
    "boschloo": BOSCHLOO,
    "fisher": FISHER,
    "fisher mid-P": FISHER_MID_P,
    "chi-squared": UNCORRECTED,
    "yates": YATES,
}


@dataclass(frozen=True, kw_only=True)
class Counts:
    """Events of n in a group and, where there is one, in its reference."""

    k: int
    n: int
    k_ref: int
    n_ref: int

    def swapped(self) -> Counts:
        """The reference against the group."""
        return Counts(k=self.k_ref, n=self.n_ref, k_ref=self.k, n_ref=self.n)

    def given(self) -> tuple[int, int, int, int]:
        """The four counts in the order in which every comparison takes them."""
        return self.k, self.n, self.k_ref, self.n_ref


@dataclass(frozen=True, kw_only=True)
class Limits:
    """Lower and upper limits by one method."""

    low: float
    high: float


def p_values(counts: Counts) -> Mapping[str, float]:
    """Two-sided p by each test in TESTS."""
    return {name: test(*counts.given()).p_value for name, test in TESTS.items()}


def p_value_of(counts: Counts, test: str) -> float:
    """Two-sided p by one test."""
    return TESTS[test](*counts.given()).p_value


def ratios(counts: Counts) -> Mapping[str, float]:
    """Each ratio that is printed of two shares."""
    return {
        "risk ratio": risk_ratio(*counts.given()).estimate,
        "odds ratio": odds_ratio(*counts.given(), method="woolf").estimate,
        "conditional odds ratio": odds_ratio(*counts.given()).estimate,
    }


def ratio_limits(counts: Counts, level: float) -> Mapping[str, Limits]:
    """Limits of a ratio by each method."""
    return {
        "risk ratio, log": _limits(risk_ratio(*counts.given(), level=level)),
        "risk ratio, score": _limits(risk_ratio(*counts.given(), level=level, method="score")),
        "odds ratio, Woolf": _limits(odds_ratio(*counts.given(), level=level, method="woolf")),
        "odds ratio, conditional exact": _limits(odds_ratio(*counts.given(), level=level)),
    }


def difference_limits(counts: Counts, level: float) -> Mapping[str, Limits]:
    """Limits of a risk difference by each method, the Wald interval among them because it is printed so often."""
    p, q = counts.k / counts.n, counts.k_ref / counts.n_ref
    half = _z(level) * np.sqrt(p * (1 - p) / counts.n + q * (1 - q) / counts.n_ref)
    return {
        "Miettinen–Nurminen": _limits(risk_difference(*counts.given(), level=level)),
        "Newcombe": _limits(risk_difference(*counts.given(), level=level, method="newcombe")),
        "Wald": Limits(low=float(p - q - half), high=float(p - q + half)),
    }


def share_limits(k: int, n: int, level: float) -> Mapping[str, Limits]:
    """Limits of one share by each method, the Wald interval among them because it is printed so often."""
    share, z = k / n, _z(level)
    half = z * np.sqrt(share * (1 - share) / n)
    methods = {"Clopper–Pearson": clopper_pearson, "Wilson": wilson, "mid-P": mid_p, "Blaker": blaker}
    found = {name: _limits(method(k, n, level=level)) for name, method in methods.items()}
    return {**found, "Wald": Limits(low=max(0.0, float(share - half)), high=min(1.0, float(share + half)))}


def _z(level: float) -> float:
    return float(special.ndtri((1 + level) / 2))


def _limits(interval: object) -> Limits:
    return Limits(low=float(interval.low), high=float(interval.high))
