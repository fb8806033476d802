from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.rates import clustered_rate, count_regression, dispersion, garwood, is_overdispersed, mid_p

quickly = settings(deadline=None, derandomize=True, max_examples=60)


def test_no_events_worked_by_hand():
    """P(0) = e^(−λ) = .025 → λ = −ln .025, over 50 days, per 100."""
    found = garwood(0, 50, per=100)
    assert (found.estimate, found.low) == (0.0, 0.0)
    assert_allclose(found.high, -np.log(0.025) * 2)


def test_one_event_worked_by_hand():
    assert_allclose(garwood(1, 1).low, -np.log(0.975))


@quickly
@given(k=st.integers(0, 500), level=st.floats(0.5, 0.99), exposure=st.floats(0.1, 1e5))
def test_an_interval_holds_its_estimate_and_grows_with_the_level(k, level, exposure):
    narrow, wide = garwood(k, exposure, level=level), garwood(k, exposure, level=level + 0.009)
    assert wide.low <= narrow.low <= narrow.estimate <= narrow.high <= wide.high


@quickly
@given(k=st.integers(1, 500))
def test_limits_are_the_chi_square_quantiles(k):
    found = garwood(k, 1)
    expected = [stats.chi2.ppf(0.025, 2 * k) / 2, stats.chi2.ppf(0.975, 2 * k + 2) / 2]
    assert_allclose([found.low, found.high], expected, rtol=1e-9)


def test_no_exposure_gives_an_empty_interval_and_a_note():
    found = garwood([0, 2], [0, 4])
    assert np.isnan([found.estimate[0], found.low[0], found.high[0]]).all() and found.estimate[1] == 0.5
    assert [note.code for note in found.notes] == ["SMALL_N"]


@pytest.mark.parametrize(("k", "exposure"), [(1, 0), (-1, 2), (0.5, 2), (1, -2), (1, np.nan), (1, np.inf)])
def test_counts_and_exposures_that_cannot_be_are_refused(k, exposure):
    with pytest.raises(StatisticsError):
        garwood(k, exposure)


@pytest.mark.parametrize("per", [0, -1, np.nan])
def test_a_rate_is_per_something_above_0(per):
    with pytest.raises(StatisticsError, match="per"):
        garwood(1, 1, per=per)


def test_dispersion_worked_by_hand():
    """3 and 1 events over 1 day each: about 2 each, (1 + 1) / 2 over 1 degree of freedom = 1."""
    assert dispersion([3, 1], [1, 1]).estimate == 1.0
    assert dispersion([3, 1], [1, 1]).notes == ()


def test_dispersion_is_that_of_a_poisson_model_with_exposure_in_statsmodels():
    k, exposure = np.array([0, 4, 1, 0, 9, 2]), np.array([10.0, 30, 12, 5, 40, 21])
    model = sm.GLM(k, np.ones(6), family=sm.families.Poisson(), exposure=exposure).fit()
    found = dispersion(k, exposure)
    assert_allclose(found.estimate, model.pearson_chi2 / model.df_resid, rtol=1e-8)
    assert found.degrees_of_freedom == model.df_resid


@pytest.mark.parametrize(("quiet", "crowds"), [(4, False), (3, False), (2, True)])
def test_a_dispersion_of_exactly_1_2_does_not_crowd(quiet, crowds):
    """As many units with 2 events as with none, one each expected: 2q / (2q − 1), which is 1.2 at q = 3."""
    k = [0] * quiet + [2] * quiet
    assert is_overdispersed(k, np.ones(len(k))) == crowds
    assert bool(dispersion(k, np.ones(len(k))).notes) == crowds


def test_more_spread_than_1_2_gets_a_note():
    assert [note.code for note in dispersion([6, 0, 0], [1, 1, 1]).notes] == ["OVERDISPERSED"]


@pytest.mark.parametrize(
    ("k", "exposure", "code"),
    [([0, 0], [1, 1], "ZERO_EVENTS"), ([3], [1], "SMALL_N"), ([3, 0], [1, 0], "SMALL_N"), ([], [], "SMALL_N")],
)
def test_where_spread_cannot_be_known_a_note_says_so(k, exposure, code):
    found = dispersion(k, exposure)
    assert np.isnan(found.estimate) and [note.code for note in found.notes] == [code]


def test_a_clustered_rate_worked_by_hand():
    """Four patients of 10 days with 0, 0, 0, 4 events: r = .1, Σ(y − 1)² = 12, error √(4/3 · 12) / 4 = 1 on the log."""
    found = clustered_rate([0, 0, 0, 4], [10, 10, 10, 10])
    width = np.exp(stats.t.ppf(0.975, 3))
    assert_allclose([found.estimate, found.low, found.high], [0.1, 0.1 / width, 0.1 * width])


def test_the_error_of_a_clustered_rate_is_that_of_a_poisson_model_with_an_intercept_and_clustered_errors():
    """statsmodels GLM, log link, offset log(days), cov_type="cluster": its factor is G/(G−1) with one row each."""
    rng = np.random.default_rng(5)
    days = rng.integers(5, 60, 40)
    events = rng.poisson(rng.gamma(0.5, 2.0, 40) * days / 100)
    fitted = sm.GLM(events, np.ones(40), family=sm.families.Poisson(), offset=np.log(days)).fit(
        cov_type="cluster", cov_kwds={"groups": np.arange(40)}
    )
    found = clustered_rate(events, days)
    width = np.exp(stats.t.ppf(0.975, 39) * fitted.bse[0])
    assert_allclose([found.estimate, found.high / found.estimate], [np.exp(fitted.params[0]), width], rtol=1e-6)


def test_no_events_or_one_patient_fall_back_to_the_exact_limits_with_a_note():
    exact = garwood(0, 50)
    found = clustered_rate([0, 0], [20, 30])
    assert (found.low, found.high) == (exact.low, exact.high)
    assert found.notes
    assert clustered_rate([3], [50]).notes


def test_events_that_crowd_in_one_patient_are_seen():
    assert is_overdispersed([3, 0, 0, 0, 0, 0], [10] * 6)
    assert not is_overdispersed([1, 0, 1, 0], [10] * 4)
    assert not is_overdispersed([0, 0], [10, 10])
    assert not is_overdispersed([5], [10])


@quickly
@given(
    counts=st.lists(st.integers(0, 6), min_size=2, max_size=30), narrow=st.floats(0.5, 0.9), wide=st.floats(0.91, 0.99)
)
def test_a_clustered_interval_holds_its_estimate_and_grows_with_the_level(counts, narrow, wide):
    one, two = (clustered_rate(counts, [10] * len(counts), level=level) for level in (narrow, wide))
    if len(set(counts)) == 1 and counts[0]:
        assert np.isnan(two.low) and two.notes[0].code == "SINGULAR"
        return
    assert two.low <= one.low <= one.estimate <= one.high <= two.high


def test_mid_p_limits_lie_inside_the_exact_ones_and_start_at_no_events_at_zero():
    k = np.arange(60)
    inner, outer = mid_p(k, 10.0), garwood(k, 10.0)
    assert inner.low[0] == 0
    assert np.all(inner.low[1:] > outer.low[1:])
    assert np.all(inner.high < outer.high)
    assert np.all((inner.low <= inner.estimate) & (inner.estimate <= inner.high))


def test_mid_p_limits_leave_half_of_what_was_seen_in_each_tail():
    low, high = mid_p(7, 1.0).low, mid_p(7, 1.0).high
    seen = [stats.poisson(mean) for mean in (low, high)]
    assert seen[0].sf(7) + seen[0].pmf(7) / 2 == pytest.approx(0.025, abs=1e-12)
    assert seen[1].cdf(6) + seen[1].pmf(7) / 2 == pytest.approx(0.025, abs=1e-12)


def test_mid_p_without_exposure_is_an_empty_interval_with_a_note():
    found = mid_p([0, 2], [0, 5], per=100)
    assert np.isnan(found.high[0])
    assert found.estimate[1] == 40
    assert [note.code for note in found.notes] == ["SMALL_N"]
    with pytest.raises(StatisticsError, match="not a whole number"):
        mid_p(0.5, 3)


@pytest.mark.parametrize(("most", "crowded"), [(1, False), (2, False), (3, True)])
def test_more_than_two_events_in_a_unit_are_crowding_and_two_are_not(most, crowded):
    """Alike counts have a dispersion of 0, so only the most in a unit decides."""
    assert is_overdispersed([most] * 4, [100] * 4) is crowded


def crowded(seed=1, n=120):
    rng = np.random.default_rng(seed)
    x, time = rng.integers(0, 2, n).astype(float), rng.uniform(10, 100, n)
    return rng.poisson(rng.gamma(0.8, 1 / 0.8, n) * 0.02 * time * np.exp(0.5 * x)), x, time


def test_two_groups_give_the_ratio_of_their_rates():
    fit = count_regression([3, 5, 8, 2], [0, 0, 1, 1.0], exposure=[10, 20, 10, 10])
    assert_allclose(np.exp(fit.coefficient), [8 / 30, (10 / 20) / (8 / 30)], rtol=1e-9)
    assert_allclose(fit.std_error[1] ** 2, 1 / 8 + 1 / 10, rtol=1e-9)


def test_the_negative_binomial_is_that_of_statsmodels_own_likelihood():
    y, x, time = crowded()
    reference = sm.NegativeBinomial(y, sm.add_constant(x), exposure=time).fit(disp=0, maxiter=500, method="newton")
    fit = count_regression(y, x, exposure=time, family="negative binomial")
    assert_allclose(fit.coefficient, reference.params[:2], rtol=1e-4)
    assert_allclose(1 / fit.theta, reference.params[2], rtol=1e-4)
    assert fit.log_likelihood >= reference.llf - 1e-9


def test_errors_by_patient_are_those_of_the_clustered_rate():
    y, _, time = crowded()
    fit = count_regression(y, np.zeros((y.size, 0)), exposure=time, cluster=np.arange(y.size))
    rate = clustered_rate(y, time)
    assert_allclose(
        np.exp([fit.coefficient[0], fit.low[0], fit.high[0]]), [rate.estimate, rate.low, rate.high], rtol=1e-7
    )


def test_crowded_counts_are_noted_where_nothing_allows_for_them():
    y, x, time = crowded()
    assert [note.code for note in count_regression(y, x, exposure=time).notes] == ["OVERDISPERSED"]
    assert count_regression(y, x, exposure=time, cluster=np.arange(y.size)).notes == ()


def test_what_cannot_be_fitted_says_why():
    assert count_regression([0, 0], [0, 1.0]).notes[0].code == "ZERO_EVENTS"
    assert count_regression([1, 2], [0, 1.0]).notes[0].code == "SMALL_N"
    assert count_regression([5, 6], [1, 1.0]).notes[0].code == "SINGULAR"
    assert count_regression([0, 0, 5, 6], [0, 0, 1, 1.0]).notes[0].code == "SEPARATION"
    assert np.isnan(count_regression([5, 6], [0, 1.0], cluster=[1, 1]).std_error).all()
    with pytest.raises(StatisticsError, match="exposure"):
        count_regression([5, 6], [0, 1.0], exposure=[1, 0])
    with pytest.raises(ChoiceError):
        count_regression([5, 6], [0, 1.0], family="normal")


def test_counts_with_no_spread_of_their_own_have_an_infinite_theta_however_flat_the_likelihood():
    """Rounding once left theta at 28 million, where R's glm.nb climbs without end."""
    draw = np.random.default_rng(1)
    for _ in range(20):
        x = draw.integers(0, 2, 30)
        counts = draw.binomial(4, np.where(x, 0.6, 0.4))
        plain = count_regression(counts, x)
        fit = count_regression(counts, x, family="negative binomial")
        assert np.isinf(fit.theta) or fit.log_likelihood > plain.log_likelihood + 1e-9
        assert np.isinf(fit.theta) or fit.theta < 1e6


@pytest.mark.parametrize(("events", "fitted"), [(4, False), (5, True), (6, True)])
def test_a_coefficient_needs_five_events(events, fitted):
    y = np.append(np.ones(events), np.zeros(8))
    fit = count_regression(y, np.arange(y.size) % 2)
    assert np.isfinite(fit.coefficient).all() == fitted
