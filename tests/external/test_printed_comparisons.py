"""Worked comparisons of two groups from print; all values from memory, each entry names author, year and journal.

Newcombe RG, Stat Med 1998;17:873-890, Table II (methods 6 and 10) · Gu K and others, Biom J 2008;50:283-298 ·
scipy's page on Boschloo's test · R's help page of poisson.test · Bickel PJ and others, Science 1975;187:398-403,
admissions by department, as R's help page of mantelhaen.test prints it.
"""

from __future__ import annotations

import pytest
from numpy.testing import assert_allclose
from scipy import stats

from builders.outside_values import values
from necrostats.stats.comparisons import boschloo, mantel_haenszel, rate_ratio, risk_difference

PRINTED = {row["id"]: row for row in values("printed_comparisons")}
TABLE_2 = [row for name, row in PRINTED.items() if name.startswith("newcombe1998b")]
METHODS = {"hybrid_score": "newcombe", "mn": "miettinen-nurminen"}

# Admitted and applied, men and women, departments A to F: from memory.
MEN = ([512, 353, 120, 138, 53, 22], [825, 560, 325, 417, 191, 373])
WOMEN = ([89, 17, 202, 131, 94, 24], [108, 25, 593, 375, 393, 341])


def _half_a_unit(row):
    return {"rtol": 0, "atol": 0.5 * 10.0 ** -row["decimals"]}


@pytest.mark.parametrize("row", TABLE_2, ids=lambda row: row["id"])
def test_limits_of_a_difference_are_those_of_newcombes_table_2(row):
    found = risk_difference(*row["inputs"], method=METHODS[row["id"].split(".")[1]])
    assert_allclose([found.low, found.high], row["published"], **_half_a_unit(row))


def test_table_2_is_there():
    assert len(TABLE_2) == 11


def test_a_ratio_of_rates_is_that_of_rs_help_page():
    row = PRINTED["rpoistest.2sample"]
    found = rate_ratio(*row["inputs"])
    assert_allclose([found.estimate, found.low, found.high], row["published"], **_half_a_unit(row))


def test_the_one_sided_conditional_mid_p_is_that_of_gu_2008():
    """Printed one-sided; the two-sided p here is twice the smaller tail."""
    row = PRINTED["gu2008.cond-midp"]
    assert_allclose(rate_ratio(*row["inputs"], method="mid-P").p_value / 2, row["published"][0], **_half_a_unit(row))


def test_the_common_odds_ratio_of_the_berkeley_admissions_is_as_printed():
    row = PRINTED["ucb.mh"]
    found = mantel_haenszel(*MEN, *WOMEN)
    assert_allclose([found.estimate, found.low, found.high], row["published"], **_half_a_unit(row))


def test_boschloos_test_gives_what_is_printed_with_the_groups_as_columns():
    """A one-sided p and Fisher's, which is its statistic, are printed; p two-sided is twice the former."""
    row = PRINTED["boschloo.scipy_doc"]
    a, b, c, d = row["inputs"]
    found = stats.boschloo_exact([[a, b], [c, d]], alternative="greater")
    assert_allclose([found.pvalue, found.statistic], row["published"], **_half_a_unit(row))
    assert_allclose(boschloo(a, a + c, b, b + d).p_value, 2 * found.pvalue, rtol=1e-9)
