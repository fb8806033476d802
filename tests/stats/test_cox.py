from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.optimize import approx_fprime

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.cox import cox, proportional_hazards, risk_sets
from necrostats.stats.partial_likelihood import likelihood, scores

quickly = settings(deadline=None, derandomize=True, max_examples=25)


def _series(seed, n=60):
    rng = np.random.default_rng(seed)
    x = np.stack([rng.normal(size=n), rng.integers(0, 2, n)], axis=1)
    return rng.integers(2, 20, n), rng.random(n) < 0.7, x, rng.integers(0, 2, n), np.arange(n) // 2


def test_three_subjects_worked_by_hand():
    """Events at 1 (x = 1), 2 (0) and 3 (1): b − ln(2e^b + 1) − ln(1 + e^b) is highest at e^2b = ½, b = −½ ln 2."""
    found = cox([1, 2, 3], [1, 1, 1], [1, 0, 1], fewest_events=1)
    assert_allclose(found.coefficient, -np.log(2) / 2)
    ratio = np.exp(found.coefficient)
    bend = 2 * ratio / (2 * ratio + 1) ** 2 + ratio / (1 + ratio) ** 2
    assert_allclose(found.std_error, 1 / np.sqrt(bend))


@quickly
@given(seed=st.integers(0, 500), ties=st.sampled_from(["efron", "breslow"]))
def test_a_follow_up_cut_into_stretches_gives_the_same_model_and_the_same_robust_error(seed, ties):
    time, event, x, strata, patient = _series(seed)
    whole = cox(time, event, x, strata=strata, cluster=patient, ties=ties)
    late = time > 8
    cut = cox(
        np.concatenate([np.minimum(time, 8), time[late]]),
        np.concatenate([event & ~late, event[late]]),
        np.concatenate([x, x[late]]),
        entry=np.concatenate([np.zeros(60), np.full(late.sum(), 8)]),
        strata=np.concatenate([strata, strata[late]]),
        cluster=np.concatenate([patient, patient[late]]),
        ties=ties,
    )
    for part in ("coefficient", "model_error", "std_error", "log_likelihood"):
        assert_allclose(getattr(cut, part), getattr(whole, part), atol=1e-8)


@quickly
@given(seed=st.integers(0, 500))
def test_units_turn_coefficients_round_and_row_order_changes_nothing(seed):
    time, event, x, strata, patient = _series(seed)
    order = np.random.default_rng(seed).permutation(60)
    one = cox(time, event, x, strata=strata, cluster=patient)
    other = cox(time[order] * 3, event[order], (1000 - 10 * x)[order], strata=strata[order], cluster=patient[order])
    for part in ("coefficient", "std_error"):
        sign = -10 if part == "coefficient" else 10
        assert_allclose(getattr(other, part) * sign, getattr(one, part), atol=1e-8)
    assert_allclose([other.low * -10, other.high * -10], [one.high, one.low], atol=1e-7)


def test_every_subject_twice_halves_the_model_variance_but_not_the_clustered_one():
    time, event, x, _, _ = _series(3)
    once = cox(time, event, x, cluster=np.arange(60), ties="breslow")
    twice = cox(
        np.tile(time, 2), np.tile(event, 2), np.tile(x, (2, 1)), cluster=np.tile(np.arange(60), 2), ties="breslow"
    )
    assert_allclose(twice.coefficient, once.coefficient, atol=1e-8)
    assert_allclose(twice.model_error, once.model_error / np.sqrt(2), atol=1e-8)
    assert_allclose(twice.std_error, once.std_error, atol=1e-8)


def test_limits_hold_a_known_ratio_in_about_95_of_100_series():
    held = []
    for seed in range(120):
        rng = np.random.default_rng(seed)
        x = rng.integers(0, 2, 80)
        time, stop = rng.exponential(np.exp(-0.7 * x)), rng.exponential(2, 80)
        found = cox(np.minimum(time, stop), time <= stop, x)
        held.append(found.low[0] < 0.7 < found.high[0])
    assert 107 <= sum(held) <= 119


def test_one_covariate_without_a_peak_leaves_the_others_theirs():
    rng = np.random.default_rng(1)
    other, split = rng.normal(size=40), np.repeat([1, 0], 20)
    time = np.concatenate([rng.integers(1, 30, 20), rng.integers(1, 30, 20)])
    found = cox(time, split == 1, np.stack([split, other], axis=1))
    assert found.coefficient[0] == np.inf and np.isfinite(found.coefficient[1]) and np.isfinite(found.std_error[1])
    assert [note.code for note in found.notes] == ["SEPARATION"] and "covariate 1" in found.notes[0].text
    assert 0 < found.likelihood_ratio.p_value < 1


@pytest.mark.parametrize(
    ("time", "event", "x", "code"),
    [
        ([], [], np.empty((0, 1)), "ZERO_EVENTS"),
        ([1, 2], [0, 0], [1, 2], "ZERO_EVENTS"),
        ([1, 2, 3, 4], [1, 1, 1, 1], [1, 0, 1, 0], "SMALL_N"),
        (np.arange(1, 21), np.ones(20), np.ones(20), "SINGULAR"),
        (np.arange(1, 21), np.ones(20), np.stack([np.arange(20), 2 * np.arange(20)], axis=1), "SINGULAR"),
        (np.full(20, 5), np.ones(20), np.r_[np.zeros(10), np.ones(10)], None),
    ],
)
def test_edges(time, event, x, code):
    found = cox(time, event, x)
    assert [note.code for note in found.notes] == ([code] if code else [])
    assert np.isnan(found.coefficient).all() == (code is not None)


def test_arguments_that_do_not_fit_are_refused():
    with pytest.raises(ChoiceError, match='"exact" is not a known way with ties'):
        cox([1], [1], [1], ties="exact")
    with pytest.raises(StatisticsError, match="entry"):
        cox([3, 4], [1, 1], [1, 0], entry=[3, 0])
    with pytest.raises(StatisticsError, match="line up"):
        cox([3, 4], [1, 1], [1, 0, 1])


def test_one_cluster_gives_no_robust_error():
    time, event, x, _, _ = _series(5)
    found = cox(time, event, x, cluster=np.zeros(60))
    assert np.isfinite(found.coefficient).all() and np.isfinite(found.model_error).all()
    assert np.isnan(found.std_error).all() and found.notes[0].code == "FEW_CLUSTERS"


def _rows(seed, ties, n=30):
    rng = np.random.default_rng(seed)
    entry = np.where(rng.random(n) < 0.4, rng.integers(1, 5, n), 0)
    return risk_sets(
        entry + rng.integers(1, 8, n),
        rng.integers(0, 2, n),
        rng.normal(size=(n, 2)),
        entry=entry,
        strata=rng.integers(0, 3, n),
        ties=ties,
    )[0]


@pytest.mark.parametrize("ties", ["efron", "breslow"])
@pytest.mark.parametrize("seed", range(3))
def test_slope_and_information_are_those_of_the_height_and_scores_add_up_to_the_slope(seed, ties):
    rows, beta = _rows(seed, ties), np.array([0.4, -0.7])
    at = likelihood(rows, beta)
    assert_allclose(at.slope, approx_fprime(beta, lambda each: likelihood(rows, each).height, 1e-6), atol=1e-4)
    for k in range(2):
        bend = approx_fprime(beta, lambda each, k=k: likelihood(rows, each).slope[k], 1e-6)
        assert_allclose(-at.information[k], bend, atol=1e-4)
    assert_allclose(scores(rows, beta).sum(axis=0), at.slope, atol=1e-10)


def test_two_tied_events_of_three_worked_by_hand():
    """Both die together with no effect: Breslow −2 ln 3; Efron −ln 3 − ln (3 − ½ · 2) = −ln 6."""
    for ties, height in (("breslow", -2 * np.log(3)), ("efron", -np.log(6))):
        rows, _ = risk_sets([1, 1, 2], [1, 1, 0], [1, 2, 4], entry=None, strata=None, ties=ties)
        assert_allclose(likelihood(rows, np.zeros(1)).height, height)


def _series_proportional_hazards(seed, crossing, n=150):
    rng = np.random.default_rng(seed)
    x = rng.integers(0, 2, n)
    time = rng.exponential(1, n) ** np.where(crossing & (x == 1), 0.4, 1.0)
    return time, np.ones(n), np.stack([x, rng.normal(size=n)], axis=1)


def test_proportional_hazards_are_doubted_in_about_5_of_100_series_and_crossing_ones_mostly():
    alike = [proportional_hazards(*_series_proportional_hazards(seed, False)).p_value[0] < 0.05 for seed in range(100)]
    crossing = [proportional_hazards(*_series_proportional_hazards(seed, True)).p_value[0] < 0.05 for seed in range(20)]
    assert 1 <= sum(alike) <= 11 and sum(crossing) >= 18


def test_units_order_and_names_change_nothing():
    time, event, x = _series_proportional_hazards(1, False)
    order = np.random.default_rng(1).permutation(time.size)
    one = proportional_hazards(time, event, x, transform="rank")
    other = proportional_hazards(time[order] * 7, event[order], 5 - 3 * x[order], transform="rank")
    assert_allclose(other.statistic, one.statistic, rtol=1e-6)
    assert_allclose(other.global_statistic, one.global_statistic, rtol=1e-6)


def test_cutting_follow_up_into_stretches_changes_nothing():
    time, event, x = _series_proportional_hazards(2, True)
    late = time > 0.5
    cut = proportional_hazards(
        np.r_[np.minimum(time, 0.5), time[late]],
        np.r_[~late, np.ones(late.sum())],
        np.r_[x, x[late]],
        entry=np.r_[np.zeros(time.size), np.full(late.sum(), 0.5)],
    )
    assert_allclose(cut.statistic, proportional_hazards(time, event, x).statistic, rtol=1e-6)


def test_without_a_model_there_is_no_test_and_the_reason_is_passed_on():
    found = proportional_hazards([1, 2], [1, 1], [0, 1])
    assert np.isnan(found.statistic).all() and [note.code for note in found.notes] == ["SMALL_N"]
    endless = proportional_hazards(np.arange(1, 11), np.ones(10), np.repeat([1, 0], 5))
    assert np.isnan(endless.p_value).all() and endless.notes[0].code == "SEPARATION"


def test_an_unknown_transform_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match="km, rank, identity"):
        proportional_hazards([1], [1], [1], transform="kaplan")


@pytest.mark.parametrize("shift", [10.0, 20.0, 1000.0, 1e6])
def test_a_shift_of_a_covariate_in_each_stratum_changes_nothing(shift):
    rng = np.random.default_rng(4)
    stratum = rng.integers(0, 5, 200)
    x = rng.normal(size=200)
    time, event = rng.integers(1, 60, 200), rng.random(200) < 0.7
    plain = cox(time, event, x, strata=stratum, cluster=np.arange(200) // 2)
    moved = cox(time, event, x + shift * stratum, strata=stratum, cluster=np.arange(200) // 2)
    for name in ("coefficient", "std_error", "model_error", "log_likelihood"):
        # beside a million a number keeps ten decimals
        assert_allclose(getattr(moved, name), getattr(plain, name), rtol=1e-9 if shift < 1e6 else 1e-8)


def test_a_covariate_that_is_one_number_in_each_stratum_has_no_model():
    stratum = np.repeat([0, 1], 10)
    fit = cox(np.tile(np.arange(1, 11), 2), np.ones(20), stratum * 3.0, strata=stratum)
    assert [note.code for note in fit.notes] == ["SINGULAR"]


@pytest.mark.parametrize("seed", range(20))
def test_a_log_likelihood_is_never_above_zero_even_with_late_entry_and_separation(seed):
    rng = np.random.default_rng(seed)
    x = rng.integers(0, 2, 30).astype(float)
    entry = rng.integers(0, 50, 30)
    event = (x > 0) & (rng.random(30) < 0.8)
    fit = cox(entry + rng.integers(1, 50, 30), event, x, entry=entry, fewest_events=1)
    assert fit.log_likelihood <= 0 or np.isnan(fit.log_likelihood)


def test_a_log_likelihood_is_never_above_zero_where_weights_lose_their_digits():
    """Separated within strata, with late entry: risk sets once weighed 1e-300 and gave 3e-8."""
    x = [[-0.83, 1], [0.51, 0], [-0.91, 1], [0.87, 1], [1.02, 1], [-0.74, 1]]
    ends, events = [127, 111, 160, 49, 174, 67], [0, 1, 0, 0, 1, 1]
    fit = cox(ends, events, x, entry=[0, 0, 0, 0, 0, 2], strata=[1, 1, 0, 1, 0, 1], fewest_events=0)
    assert np.isinf(fit.coefficient).all() and fit.log_likelihood <= 0
    assert_allclose(fit.log_likelihood, 0, atol=1e-6)  # its peak lies at infinity
