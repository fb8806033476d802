from __future__ import annotations

import pytest
from numpy.testing import assert_allclose

from necrostats.stats.comparisons.choosing import TESTS
from necrostats.stats.reported.candidates import TEST_TITLES, Counts, difference_limits, share_limits


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
