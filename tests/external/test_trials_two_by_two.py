"""Two-by-two tables of published trials and series of drainage and necrosectomy, reproduced to the printed digit.

Each entry of data/trials_two_by_two.json names its paper and says what was read (S), remembered (M) or is implied by
the printed percentages. Each p is held against the paper's own test. Figures without a print (`rr`, `odds_ratio`,
`rd_newcombe`, `p_…`) were computed from the counts apart from this project.
"""

from __future__ import annotations

import pytest
from numpy.testing import assert_allclose

from builders.outside_values import values
from necrostats.stats.comparisons import chi_squared, fisher, odds_ratio, risk_difference, risk_ratio, yates
from necrostats.stats.reported import check_reported

TRIALS = values("trials_two_by_two")
TEST_OF = {"chi2 uncorrected": "chi-squared", "Fisher": "fisher"}
EXCEPTIONS = {
    "miser_death": "prints p = .999 for Fisher's 1",
    "pointer_longterm_drainage": "prints 2.03 and 7.37 where the counts give 2.0355 and 7.3650",
    "extension_primary": "prints a lower limit of .65 where the counts give .6448, and a ratio of .93 in the abstract",
}
CLOSE = {"rtol": 1e-9, "atol": 1e-9}


def _counts(trial):
    return trial["a"], trial["n1"], trial["b"], trial["n2"]


def _checked(trial, **printed):
    return check_reported(trial["a"], trial["n1"], k_ref=trial["b"], n_ref=trial["n2"], **printed)


def _with(*names):
    return [row for row in TRIALS if set(names) <= set(row["published"]) and row["id"] not in EXCEPTIONS]


def _digits(value, decimals=2):
    return f"{value:.{decimals}f}"


def test_all_21_tables_are_there_and_the_exceptions_are_among_them():
    assert len(TRIALS) == 21
    assert set(EXCEPTIONS) <= {row["id"] for row in TRIALS}


@pytest.mark.parametrize("trial", _with("rr", "lo", "hi"), ids=lambda row: row["id"])
def test_the_risk_ratio_and_its_log_interval_are_as_published(trial):
    shown = trial["published"]
    limits = (_digits(shown["lo"]), _digits(shown["hi"]))
    found = _checked(trial, ratio=_digits(shown["rr"]), measure="risk ratio", interval=limits, method="risk ratio, log")
    assert [each.verdict for each in found.items] == ["fits", "fits"]


@pytest.mark.parametrize("trial", _with("rd", "lo", "hi"), ids=lambda row: row["id"])
def test_the_risk_difference_and_its_newcombe_interval_are_as_published(trial):
    shown = trial["published"]
    limits = (_digits(shown["lo"]), _digits(shown["hi"]))
    found = _checked(trial, difference=_digits(shown["rd"]), interval=limits, method="Newcombe")
    assert [each.verdict for each in found.items] == ["fits", "fits"]


@pytest.mark.parametrize("trial", _with("p"), ids=lambda row: row["id"])
def test_the_p_value_is_that_of_the_papers_own_test(trial):
    p = trial["published"]["p"]
    test = TEST_OF.get(trial["published"].get("p_method", "").split(" (")[0].split(" 0.")[0])
    item = _checked(trial, p=p, test=test).of("p")
    assert item.verdict == "fits"
    assert test in item.fits or test is None


def test_the_exceptions_are_what_they_are_said_to_be():
    by_name = {row["id"]: row for row in TRIALS}
    assert fisher(*_counts(by_name["miser_death"])).p_value == pytest.approx(1)
    ratio = risk_ratio(*_counts(by_name["pointer_longterm_drainage"]))
    assert [round(each, 4) for each in (ratio.estimate, ratio.low, ratio.high)] == [2.0355, 0.5625, 7.3650]
    ratio = risk_ratio(*_counts(by_name["extension_primary"]))
    assert [round(each, 4) for each in (ratio.estimate, ratio.low, ratio.high)] == [0.9216, 0.6448, 1.3170]
    assert _checked(by_name["extension_primary"], p="0.688", test="fisher").of("p").verdict == "fits"
    assert _checked(by_name["extension_primary"], ratio="0.93").of("ratio").verdict == "does not fit"


@pytest.mark.parametrize("trial", TRIALS, ids=lambda row: row["id"])
def test_figures_agree_with_a_computation_apart_from_this_project(trial):
    counts = _counts(trial)
    newcombe = risk_difference(*counts, method="newcombe")
    assert_allclose([newcombe.estimate, newcombe.low, newcombe.high], trial["rd_newcombe"], **CLOSE)
    for name, test in (("p_fisher", fisher), ("p_chi2", chi_squared), ("p_yates", yates)):
        assert_allclose(test(*counts).p_value, trial[name], **CLOSE)
    if trial["rr"]:
        ratio, odds = risk_ratio(*counts), odds_ratio(*counts, method="woolf")
        assert_allclose([ratio.estimate, ratio.low, ratio.high], trial["rr"], **CLOSE)
        assert_allclose([odds.estimate, odds.low, odds.high], trial["odds_ratio"], **CLOSE)
    else:
        assert risk_ratio(*counts).notes[0].code == "ZERO_EVENTS"
