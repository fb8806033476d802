"""Two shares compared, with the test that their size calls for and the reason in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from necrostats.errors import unknown_choice
from necrostats.stats.comparisons.common import Contrast, Test, TwoGroups, one_table
from necrostats.stats.comparisons.exact_tests import (
    BOSCHLOO,
    FISHER,
    FISHER_MID_P,
    UNCORRECTED,
    YATES,
    boschloo,
    chi_squared,
    expected_counts,
    fisher,
    fisher_mid_p,
    yates,
)
from necrostats.stats.comparisons.risk_difference import odds_ratio, risk_difference, risk_ratio
from necrostats.stats.proportions import blaker, clopper_pearson, mid_p, wilson

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
