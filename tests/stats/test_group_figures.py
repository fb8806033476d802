from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import special, stats

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.group_figures import difference, figures_of, ratio


def _figures(covariance, estimate=(10.0, 4.0), level=0.95):
    return figures_of(
        measure="mean",
        groups=np.array(["a", "b"]),
        level=level,
        largest=30.0,
        estimate=np.array(estimate),
        covariance=np.array(covariance, dtype=float),
        subjects=np.array([1000, 1000]),
    )


def test_difference_and_ratio_worked_by_hand():
    """10 and 4 with variances 4 and 1: difference 6, error √5; log ratio ln 2.5, error √(4/100 + 1/16)."""
    figures = _figures([[4, 0], [0, 1]])
    gap = difference(figures, "a", "b")
    assert_allclose([gap.estimate, gap.std_error, gap.statistic], [6, np.sqrt(5), 6 / np.sqrt(5)])
    assert_allclose([gap.p_value, gap.high], [2 * stats.norm.sf(6 / np.sqrt(5)), 6 + 1.959963984540054 * np.sqrt(5)])
    share = ratio(figures, "a", "b")
    assert_allclose([share.estimate, share.std_error], [2.5, np.sqrt(0.04 + 1 / 16)])
    assert_allclose(share.low * share.high, 2.5**2)


def test_what_groups_share_comes_off_the_variance():
    assert_allclose(difference(_figures([[4, 1.5], [1.5, 1]]), "a", "b").std_error, np.sqrt(5 - 3))


def test_by_cause_everything_has_one_entry_a_cause():
    figures = figures_of(
        measure="mean",
        groups=np.array(["a", "b"]),
        level=0.95,
        largest=30.0,
        estimate=np.array([[10.0, 3.0], [4.0, 3.0]]),
        covariance=np.array([[[4.0, 0], [0, 1]], [[1.0, 0], [0, 1]]]),
        subjects=np.array([20, 20]),
    )
    gap = difference(figures, "a", "b")
    assert_allclose(gap.estimate, [6, 0])
    assert_allclose(gap.std_error, np.sqrt([5, 2]))
    assert_allclose(figures.std_error, [[2, 1], [1, 1]])
    assert_allclose(gap.p_value[1], 1)


def test_limits_stay_within_what_is_possible_and_grow_with_the_level():
    wide, narrow = (_figures([[400, 0], [0, 1]], level=level) for level in (0.99, 0.9))
    assert 0 <= wide.low[0] < narrow.low[0] and narrow.high[0] < wide.high[0] <= 30
    assert wide.low[1] < narrow.low[1] < 4 < narrow.high[1] < wide.high[1]
    assert difference(wide, "a", "b").low == -30


def test_limits_of_a_small_group_are_by_t_on_the_logit_scale():
    """A mean of 7 in 100 with error 1.58: logit −2.587, error 1.58 / (100 × .07 × .93) = .2429, t on 3: 3.182."""
    values = np.array([3.0, 5.0, 9.0, 11.0])
    found = figures_of(
        measure="mean",
        groups=np.array(["a"]),
        level=0.95,
        largest=100.0,
        estimate=np.array([values.mean()]),
        covariance=np.array([[values.var() / 4]]),
        subjects=np.array([4]),
    )
    half = stats.t.ppf(0.975, 3) * (values.std() / 2) / (100 * 0.07 * 0.93)
    assert_allclose([found.low[0], found.high[0]], 100 * special.expit(special.logit(0.07) + half * np.array([-1, 1])))


def test_a_difference_of_small_groups_is_that_of_welch():
    one, two = np.array([3.0, 5.0, 9.0, 11.0]), np.array([1.0, 2.0, 2.0, 6.0, 9.0, 4.0])
    figures = figures_of(
        measure="mean",
        groups=np.array(["a", "b"]),
        level=0.95,
        largest=100.0,
        estimate=np.array([one.mean(), two.mean()]),
        covariance=np.diag([one.var() / 4, two.var() / 6]),
        subjects=np.array([4, 6]),
    )
    found, known = difference(figures, "a", "b", welch=True), stats.ttest_ind(one, two, equal_var=False)
    assert_allclose([found.statistic, found.p_value], [known.statistic, known.pvalue])
    assert_allclose([found.low, found.high], [*known.confidence_interval()])
    assert (found.test, found.method) == ("Welch's t test", "Welch's t limits")


def test_groups_of_one_have_no_limits_by_welch():
    figures = figures_of(
        measure="mean",
        groups=np.array(["a", "b"]),
        level=0.95,
        largest=30.0,
        estimate=np.array([10.0, 4.0]),
        covariance=np.diag([4.0, 1.0]),
        subjects=np.array([1, 6]),
    )
    assert np.isnan(difference(figures, "a", "b", welch=True).low)


def test_figures_that_do_not_vary_have_no_limits():
    figures = _figures(np.zeros((2, 2)))
    assert np.isnan([figures.low, figures.high]).all()
    gap = difference(figures, "a", "b")
    assert gap.estimate == 6 and np.isnan([gap.low, gap.p_value]).all() and gap.notes[0].code == "ZERO_EVENTS"


def test_a_group_that_is_not_there_and_a_level_that_cannot_be():
    with pytest.raises(ChoiceError, match="Did you mean"):
        difference(_figures(np.eye(2)), "a", "bb")
    with pytest.raises(StatisticsError, match="level"):
        _figures(np.eye(2), level=95)


@pytest.mark.parametrize("contrast", [difference, ratio])
def test_a_group_that_does_not_vary_leaves_a_contrast_without_limits_and_names_itself(contrast):
    """The error of the other group alone would say that nothing is uncertain about this one."""
    figures = _figures([[4, 0], [0, 0]])
    found = contrast(figures, "a", "b")
    assert found.estimate == (6 if contrast is difference else 2.5)
    assert np.isnan([found.low, found.high, found.p_value]).all()
    assert "within group b," in found.notes[0].text
    assert "within group b," in contrast(figures, "b", "a").notes[0].text
    assert "within either group," in contrast(_figures(np.zeros((2, 2))), "a", "b").notes[0].text


def test_one_cause_alone_has_no_note_about_another_that_does_not_vary():
    figures = figures_of(
        measure="mean",
        groups=np.array(["a", "b"]),
        level=0.95,
        largest=30.0,
        estimate=np.array([[10.0, 0.0], [4.0, 0.0]]),
        covariance=np.array([[[4.0, 0], [0, 1]], np.zeros((2, 2))]),
        subjects=np.array([20, 20]),
    )
    both, alone = difference(figures, "a", "b"), difference(figures.of_cause(0), "a", "b")
    assert both.notes and alone.notes == ()
    assert (alone.estimate, alone.low, alone.high) == (both.estimate[0], both.low[0], both.high[0])
    assert_allclose(figures.of_cause(1).high, [np.nan, np.nan])


def test_a_group_of_one_has_no_welch_limits_and_a_note():
    figures = figures_of(
        measure="mean",
        groups=np.array(["a", "b"]),
        level=0.95,
        largest=30.0,
        estimate=np.array([10.0, 4.0]),
        covariance=np.diag([0.0, 1.0]),
        subjects=np.array([1, 6]),
    )
    found = difference(figures, "a", "b", welch=True)
    assert np.isnan(found.low) and [note.code for note in found.notes] == ["ZERO_EVENTS"]
