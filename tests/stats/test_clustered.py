from itertools import product

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special

from necrostats.errors import StatisticsError
from necrostats.stats.clustered import least_squares, permute_within, share_difference, within_groups


def _sample(seed=0, groups=8, size=4):
    rng = np.random.default_rng(seed)
    group = np.repeat(np.arange(groups), size)
    x = np.column_stack([np.ones(group.size), rng.normal(size=group.size)])
    return x @ [1.0, 0.5] + rng.normal(size=groups)[group] + rng.normal(size=group.size), x, group


def test_clusters_of_one_row_and_a_mean_have_the_plain_error():
    """CR2 with every row its own cluster is HC2, which for a mean is s/√n with n − 1 degrees of freedom."""
    y = np.random.default_rng(1).normal(size=12)
    found = least_squares(y, np.ones((12, 1)), np.arange(12)).contrast([1.0])
    assert found.error == pytest.approx(y.std(ddof=1) / np.sqrt(12)) and found.df == pytest.approx(11)


def test_the_mean_of_equal_clusters_has_the_error_of_the_means_of_clusters():
    y, _, group = _sample()
    means = y.reshape(8, 4).mean(axis=1)
    found = least_squares(y, np.ones((y.size, 1)), group).contrast([1.0])
    assert found.error == pytest.approx(means.std(ddof=1) / np.sqrt(8)) and found.df == pytest.approx(7)


def test_effects_of_groups_give_what_an_indicator_for_each_gives():
    y, x, group = _sample(2)
    dummies = (group[:, None] == np.arange(8)).astype(float)
    expected = np.linalg.lstsq(np.column_stack([x[:, 1:], dummies]), y)[0][0]
    found = within_groups(y, x[:, 1:], group)
    assert found.coefficient[0] == pytest.approx(expected)
    left = y - np.column_stack([x[:, 1:], dummies]) @ np.linalg.lstsq(np.column_stack([x[:, 1:], dummies]), y)[0]
    assert found.residual == pytest.approx(np.sqrt(left @ left / (y.size - 9)))


def test_one_cluster_dependent_columns_and_no_spread_have_a_defined_answer():
    y, x, group = _sample()
    one = least_squares(y, x, np.zeros(y.size))
    assert np.isnan(one.contrast([0, 1]).error) and one.notes[0].code == "FEW_CLUSTERS"
    twice = least_squares(y, np.column_stack([x, x[:, 1]]), group)
    assert twice.notes[0].code == "SINGULAR" and np.isnan(twice.coefficient).all()
    flat = least_squares(np.full(y.size, 3.0), x, group).contrast([1, 0])
    assert flat.estimate == pytest.approx(3.0) and np.isnan(flat.low)
    with pytest.raises(StatisticsError):
        least_squares([1.0, np.nan], np.ones((2, 1)), [0, 1])


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000))
def test_the_order_of_rows_and_the_labels_change_nothing_and_a_wider_level_is_wider(seed):
    y, x, group = _sample(seed)
    found = least_squares(y, x, group).contrast([0, 1])
    order = np.random.default_rng(seed).permutation(y.size)
    again = least_squares(y[order], x[order], np.array(list("hgfedcba"))[group][order]).contrast([0, 1])
    assert (again.error, again.df) == (pytest.approx(found.error), pytest.approx(found.df))
    wide = least_squares(y, x, group, level=0.99).contrast([0, 1])
    assert wide.low < found.low < found.estimate < found.high < wide.high


def test_a_small_case_worked_by_hand():
    """Exposed 1, 0 | 1 and others 0 | 1, 0 in clusters 1 to 3: shares 2/3 and 1/3, influence 0, −1/9, 1/9."""
    found = share_difference([1, 0, 0, 1, 1, 0], [1, 1, 0, 1, 0, 0], [1, 1, 1, 2, 2, 3])
    half = special.stdtrit(2, 0.975) * np.sqrt(3 / 2 * 5 / 4 * 2 / 81)
    assert found.estimate == pytest.approx(1 / 3)
    assert (found.low, found.high) == pytest.approx((1 / 3 - half, 1.0))


@pytest.mark.parametrize("strata", [1, 6])
def test_it_is_the_clustered_linear_model_with_an_effect_for_each_stratum(strata):
    """Ordinary least squares with a cluster sandwich (statsmodels), strata as columns."""
    draw = np.random.default_rng(5)
    cluster, exposed, stratum = (draw.integers(0, each, 300) for each in (40, 2, strata))
    events = draw.binomial(1, 0.2 + 0.2 * exposed)
    design = np.column_stack([exposed, stratum[:, None] == np.arange(strata)]).astype(float)
    fitted = sm.OLS(events, design).fit(cov_type="cluster", cov_kwds={"groups": cluster})
    found = share_difference(events, exposed, cluster, stratum=stratum)
    half = special.stdtrit(np.unique(cluster).size - 1, 0.975) * fitted.bse[0]
    assert found.estimate == pytest.approx(fitted.params[0])
    assert (found.low, found.high) == pytest.approx((found.estimate - half, found.estimate + half))


def test_limits_cover_no_difference_as_often_as_they_say_with_few_patients():
    """15 patients, chances that differ by patient, exposure at random, 1,000 series: 95 % but for simulation error."""
    draw = np.random.default_rng(20240305)
    covered = 0
    for _ in range(1000):
        sessions = np.minimum(draw.geometric(draw.beta(3.5, 6.5, 15)), 12)
        patient = np.repeat(np.arange(15), sessions)
        number = np.concatenate([np.arange(each) for each in sessions])
        last = (number == sessions[patient] - 1).astype(int)
        found = share_difference(last, draw.binomial(1, 0.4, patient.size), patient, stratum=number)
        covered += found.low <= 0 <= found.high
    assert 930 <= covered <= 970


def test_within_strata_the_mantel_haenszel_weights_are_used():
    """Strata of 2 × 2 and 1 × 3: weights 1 and .75; differences .5 and 2/3."""
    events = [1, 1, 1, 0, 1, 1, 0, 0]
    exposed = [1, 1, 0, 0, 1, 0, 0, 0]
    stratum = ["a"] * 4 + ["b"] * 4
    found = share_difference(events, exposed, range(8), stratum=stratum)
    assert found.estimate == pytest.approx((1 * 0.5 + 0.75 * (1 - 1 / 3)) / 1.75)


def test_a_difference_made_by_the_strata_goes_away_within_them():
    """Stratum b has more events and more exposed; within each the shares are the same."""
    events = [1, 0, 0, 0] * 4 + [1, 1, 1, 0] * 4
    exposed = [1] * 4 + [0] * 12 + [1] * 12 + [0] * 4
    stratum = ["a"] * 16 + ["b"] * 16
    assert share_difference(events, exposed, range(32)).estimate == pytest.approx(0.25)
    assert share_difference(events, exposed, range(32), stratum=stratum).estimate == pytest.approx(0)


@pytest.mark.parametrize(
    ("events", "exposed", "cluster", "code"),
    [
        ([], [], [], "NO_OVERLAP"),
        ([1, 0], [1, 1], [1, 2], "NO_OVERLAP"),
        ([1, 0], [1, 0], [1, 1], "FEW_CLUSTERS"),
        ([1, 1, 0, 0], [1, 1, 0, 0], [1, 2, 3, 4], "ZERO_EVENTS"),
    ],
)
def test_where_there_are_no_limits_a_note_says_why(events, exposed, cluster, code):
    found = share_difference(events, exposed, cluster)
    assert np.isnan(found.low) and np.isnan(found.high)
    assert [note.code for note in found.notes] == [code]


def test_no_stratum_with_both_groups_leaves_nothing_to_compare():
    found = share_difference([1, 0], [1, 0], [1, 2], stratum=["a", "b"])
    assert np.isnan(found.estimate)
    assert found.notes[0].code == "NO_OVERLAP"


def test_counts_other_than_0_and_1_are_refused():
    with pytest.raises(StatisticsError):
        share_difference([2, 0], [1, 0], [1, 2])


@settings(deadline=None, derandomize=True, max_examples=40)
@given(st.lists(st.tuples(st.integers(0, 1), st.integers(0, 1), st.integers(0, 6)), min_size=2, max_size=40))
def test_limits_hold_the_estimate_and_swapping_the_groups_turns_the_sign(rows):
    events, exposed, cluster = map(np.array, zip(*rows, strict=True))
    one, two = (share_difference(events, side, cluster) for side in (exposed, 1 - exposed))
    if np.isnan(one.estimate):
        assert np.isnan(two.estimate)
        return
    assert one.estimate == pytest.approx(-two.estimate)
    if not np.isnan(one.low):
        assert -1 <= one.low <= one.estimate <= one.high <= 1
        assert one.low == pytest.approx(-two.high)


VALUES = np.array([3.0, 1.0, 5.0, 2.0, 4.5, 1.5, 2.5, 0.5])
LABEL = np.array([1, 0, 1, 0, 1, 0, 1, 0])
GROUPS = np.repeat([0, 1, 2, 3], 2)


def test_it_agrees_with_every_exchange_worked_out():
    """Four pairs: 16 ways to exchange, in two of which every labelled value is the larger or the smaller one."""
    sums = [
        sum((VALUES[2 * pair + (not keep)] - VALUES[2 * pair : 2 * pair + 2].mean()) for pair, keep in enumerate(ways))
        for ways in product((True, False), repeat=4)
    ]
    exact = np.mean(np.abs(sums) >= abs(sums[0]) - 1e-9)
    found = permute_within(VALUES, LABEL, GROUPS)
    assert exact == 2 / 16 and found.p_value == pytest.approx(exact, abs=4 * np.sqrt(exact * (1 - exact) / 9999))
    assert found.statistic == pytest.approx(sums[0]) and found.groups == 4


def test_groups_with_one_kind_of_label_say_nothing():
    more = permute_within(np.append(VALUES, [9.0, 8.0]), np.append(LABEL, [1, 1]), np.append(GROUPS, [7, 7]))
    assert more == permute_within(VALUES, LABEL, GROUPS)
    alone = permute_within(VALUES, np.ones(8), GROUPS)
    assert np.isnan(alone.p_value) and alone.groups == 0
    assert np.isnan(permute_within([], [], []).p_value)


def test_what_is_no_label_is_refused():
    with pytest.raises(StatisticsError, match="neither 0 nor 1"):
        permute_within([1.0, 2.0], [0, 2], [0, 0])


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 1000), st.floats(-5, 5), st.floats(0.1, 5))
def test_shift_scale_and_order_change_nothing(seed, shift, scale):
    rng = np.random.default_rng(seed)
    values, label, groups = rng.normal(size=30), rng.integers(0, 2, 30), rng.integers(0, 8, 30)
    order = rng.permutation(30)
    found = permute_within(values, label, groups, replicates=199)
    again = permute_within((scale * values + shift)[order], label[order], groups[order], replicates=199)
    assert again.p_value == pytest.approx(found.p_value, nan_ok=True)
