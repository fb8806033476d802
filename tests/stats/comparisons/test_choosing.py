from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from necrostats.errors import ChoiceError
from necrostats.stats.comparisons import compare_proportions
from necrostats.stats.comparisons.choosing import MEASURES, TEST_TITLES, TESTS, Counts, difference_limits, share_limits


@pytest.mark.parametrize(
    ("table", "test", "why"),
    [
        ((30, 60, 20, 70), "uncorrected χ² test", "every count and every expected count is 5 or more"),
        ((4, 50, 20, 50), "Boschloo's exact test", "fewer than 5 events (4)"),
        ((5, 50, 20, 50), "uncorrected χ² test", "5 or more"),
        ((5, 10, 5, 10), "uncorrected χ² test", "every expected count is 5 or more"),
        ((0, 50, 20, 50), "Boschloo's exact test", "a cell of the table is empty"),
        ((46, 50, 20, 50), "Boschloo's exact test", "fewer than 5 without an event (4)"),
        ((5, 10, 5, 150), "Boschloo's exact test", "an expected count is below 5 (0.6)"),
        ((4, 150, 20, 150), "Fisher's exact test", "300 in all is more than 200"),
    ],
)
def test_the_test_follows_the_counts_and_the_rule_says_why(table, test, why):
    found = compare_proportions(*table)
    assert found.test == test
    assert why in found.rule
    assert 0 < found.p_value <= 1


@pytest.mark.parametrize("test", TESTS)
def test_every_other_test_is_one_argument_away_and_named(test):
    found = compare_proportions(8, 10, 2, 10, test=test)
    direct = TESTS[test](8, 10, 2, 10)
    assert (found.test, found.p_value) == (direct.test, direct.p_value)
    assert "asked for" in found.rule


@pytest.mark.parametrize("measure", MEASURES)
def test_every_measure_is_one_argument_away(measure):
    found, direct = compare_proportions(8, 10, 2, 10, measure=measure), MEASURES[measure](8, 10, 2, 10)
    assert (found.measure, found.estimate, found.low, found.high) == (measure, direct.estimate, direct.low, direct.high)


def test_a_method_can_be_asked_for():
    assert compare_proportions(8, 10, 2, 10, method="newcombe").method == "Newcombe hybrid score interval"


@pytest.mark.parametrize("measure", MEASURES)
@pytest.mark.parametrize("table", [(0, 10, 0, 20), (4, 4, 5, 5), (0, 0, 1, 3), (0, 0, 0, 0)])
def test_where_no_test_is_possible_none_is_named(measure, table):
    found = compare_proportions(*table, measure=measure)
    assert np.isnan(found.p_value) and found.test == ""
    assert found.rule.startswith("No test")
    assert found.notes and len(found.notes) == len(set(found.notes))


def test_choices_off_the_list_are_answered_with_the_list():
    with pytest.raises(ChoiceError, match='Did you mean "fisher"'):
        compare_proportions(1, 2, 1, 2, test="fischer")
    with pytest.raises(ChoiceError, match="risk ratio"):
        compare_proportions(1, 2, 1, 2, measure="relative risk")


@pytest.mark.parametrize(("n", "test"), [(99, "Boschloo"), (100, "Boschloo"), (101, "Fisher")])
def test_boschloo_is_taken_up_to_two_hundred_in_all(n, test):
    assert compare_proportions(1, n, 3, 100).test.startswith(test)


def test_every_test_has_the_title_it_prints_itself():
    assert {name: test(8, 10, 2, 10).test for name, test in TESTS.items()} == TEST_TITLES


def test_the_wald_limits_of_a_share_are_those_of_newcombes_table_1():
    """Newcombe RG. Stat Med 1998;17:857-872, Table I, simple asymptotic, 81 of 263 and 15 of 148; from memory."""
    for k, n, low, high in ((81, 263, 0.2522, 0.3638), (15, 148, 0.0527, 0.1500)):
        found = share_limits(k, n, 0.95)["Wald"]
        assert_allclose([found.low, found.high], [low, high], rtol=0, atol=0.00005)


def test_the_wald_limits_of_a_difference_are_as_computed_apart():
    found = difference_limits(Counts(k=17, n=43, k_ref=31, n_ref=45), 0.95)["Wald"]
    assert (found.low, found.high) == (pytest.approx(-0.49266648501759513), pytest.approx(-0.09441361834157805))
