"""Two shares compared, with the test that their size calls for and the reason in words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from necrostats.errors import unknown_choice
from necrostats.stats.comparisons.common import Contrast, Test, TwoGroups, one_table
from necrostats.stats.comparisons.exact_tests import boschloo, chi_squared, expected_counts, fisher, fisher_mid_p, yates
from necrostats.stats.comparisons.risk_difference import odds_ratio, risk_difference, risk_ratio

FEW = 5
BOSCHLOO_UP_TO = 200
NO_TEST = "No test: a group is empty, or both have the same certain outcome."

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
        return ChosenContrast(**vars(replace(shown, test="")), rule=NO_TEST)
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
