import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize, stats

from necrostats.errors import StatisticsError
from necrostats.stats.parametric_times import parametric_times
from necrostats.stats.ranged_intercept import ranged_intercept, row_scores


def _sample(seed=1, clusters=25, rows=70, between=0.4, within=0.5):
    rng = np.random.default_rng(seed)
    group = rng.integers(0, clusters, rows)
    x = np.column_stack([np.ones(rows), rng.integers(0, 2, rows), rng.normal(size=rows)])
    y = x @ [5.0, 0.5, -0.3] + between * rng.normal(size=clusters)[group] + within * rng.normal(size=rows)
    return y, x, group


def _ranged(y):
    """Some as ranges of width 1, the lowest as "less than", the highest as "more than"."""
    low, high = y.copy(), y.copy()
    some = np.arange(y.size) % 3 == 0
    low[some], high[some] = np.floor(y[some]), np.floor(y[some]) + 1
    low[y < 4.5], high[y < 4.5] = -np.inf, 4.5
    low[y > 5.8], high[y > 5.8] = 5.8, np.inf
    return low, high


def _normal_likelihood(at, y, x, group):
    """The density of the multivariate normal, cluster by cluster."""
    total = 0.0
    for one in np.unique(group):
        here = group == one
        size = int(here.sum())
        covariance = np.exp(2 * at[-2]) * np.eye(size) + np.exp(2 * at[-1])
        total += stats.multivariate_normal(x[here] @ at[:-2], covariance).logpdf(y[here])
    return total


def test_exact_values_give_the_maximum_of_the_multivariate_normal():
    y, x, group = _sample()
    fit = ranged_intercept(y, y, x, group)
    at = np.concatenate([fit.coefficient, np.log([fit.within, fit.between])])
    assert fit.log_likelihood == pytest.approx(_normal_likelihood(at, y, x, group), abs=1e-8)
    slope = optimize.approx_fprime(at, lambda each: _normal_likelihood(each, y, x, group), 1e-6)
    assert np.abs(slope).max() < 1e-3


def test_ranges_give_the_likelihood_that_plain_integration_gives():
    y, x, group = _sample(clusters=8, rows=24)
    low, high = _ranged(y)
    fit = ranged_intercept(low, high, x, group)

    def one_cluster(rows):
        def height(b):
            mean = x[rows] @ fit.coefficient + b
            exact = low[rows] == high[rows]
            density = stats.norm.pdf(low[rows][exact], mean[exact], fit.within).prod()
            upper, lower = (stats.norm.cdf(each[rows][~exact], mean[~exact], fit.within) for each in (high, low))
            return stats.norm.pdf(b, 0, fit.between) * density * (upper - lower).prod()

        return np.log(integrate.quad(height, -4, 4, points=[-1, 0, 1], epsabs=1e-14)[0])

    total = sum(one_cluster(np.flatnonzero(group == each)) for each in np.unique(group))
    assert fit.log_likelihood == pytest.approx(total, abs=1e-6)


def test_without_a_spread_it_is_the_interval_censored_regression():
    y, x, group = _sample(seed=4)
    low, high = _ranged(y)
    fit = ranged_intercept(low, high, x, group, spread=False)
    right = np.where(np.isinf(high), np.nan, np.exp(high))
    known = parametric_times(np.exp(low), right, x[:, 1:], cluster=group, fewest_events=0)
    assert fit.coefficient == pytest.approx(known.coefficient, abs=1e-7)
    clusters = np.unique(group).size
    robust = np.sqrt(np.diag(fit.robust) * (clusters - 1) / clusters)
    assert robust == pytest.approx(known.std_error, rel=1e-6)


def test_a_mean_alone_has_the_clustered_limits_of_the_geometric_mean():
    y, _, group = _sample(seed=5)
    low, high = _ranged(y)
    fit = ranged_intercept(low, high, np.ones((y.size, 1)), group, spread=False)
    known = parametric_times(np.exp(low), np.exp(high), cluster=group)
    clusters = np.unique(group).size
    half = stats.t.ppf(0.975, clusters - 1) * np.array([np.sqrt(fit.robust[0, 0]), known.std_error[0]])
    half[1] *= np.sqrt(clusters / (clusters - 1))
    assert np.exp(fit.coefficient[0] + half[0]) == pytest.approx(np.exp(known.coefficient[0] + half[1]), rel=1e-6)


def test_clusters_that_do_not_differ_are_singular():
    y, x, group = _sample(seed=2, between=0.0, clusters=4, rows=80)
    y = y - np.array([y[group == each].mean() for each in range(4)])[group]
    fit = ranged_intercept(y, y, x, group)
    assert fit.singular and fit.between == 0 and fit.notes == ()


def test_one_cluster_and_a_row_a_cluster_have_a_defined_answer():
    y, x, _ = _sample(rows=30)
    one = ranged_intercept(y, y, x, np.zeros(30))
    assert one.coefficient == pytest.approx(np.linalg.lstsq(x, y)[0], abs=1e-6)
    assert np.isnan(one.robust).all()
    alone = ranged_intercept(y, y, x, np.arange(30))
    assert alone.singular and np.isfinite(alone.robust).all()


def test_values_too_few_or_too_loose_have_no_model_and_say_so():
    y, x, group = _sample(rows=30)
    few = ranged_intercept(y[:4], y[:4], x[:4], group[:4])
    assert few.notes[0].code == "SMALL_N" and np.isnan(few.coefficient).all()
    above = ranged_intercept(np.full(30, 5.0), np.full(30, np.inf), x, group)
    assert above.notes[0].code == "NOT_CONVERGED" and np.isnan(above.coefficient).all()
    none = ranged_intercept([], [], np.empty((0, 1)), [])
    assert none.notes[0].code == "SMALL_N"


def test_a_range_from_high_to_low_is_refused():
    with pytest.raises(StatisticsError, match="below its low"):
        ranged_intercept([1.0, 2.0], [1.0, 1.0], np.ones((2, 1)), [0, 1])


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 1000), st.floats(-3, 3))
def test_a_shift_moves_the_intercept_alone_and_order_and_labels_change_nothing(seed, shift):
    y, x, group = _sample(seed=seed, rows=40, clusters=12)
    low, high = _ranged(y)
    fit = ranged_intercept(low, high, x, group)
    order = np.random.default_rng(seed).permutation(40)
    moved = ranged_intercept(
        low[order] + shift, high[order] + shift, x[order], np.array(list("zyxwvutsrqpo"))[group][order]
    )
    assert moved.coefficient - [shift, 0, 0] == pytest.approx(fit.coefficient, abs=1e-5)
    assert moved.within == pytest.approx(fit.within, abs=1e-5)


def test_the_score_of_an_exact_value_is_its_residual_over_the_variance_and_ranges_lie_where_they_are_known_to():
    y, x, _ = _sample()
    left = y - x @ np.linalg.lstsq(x, y)[0]
    assert row_scores(y, y, x) == pytest.approx(left / np.mean(left**2), rel=1e-6)
    low, high = _ranged(y)
    scores = row_scores(low, high, x)
    assert (scores[np.isinf(high)] > 0).all() and (scores[np.isinf(low)] < 0).all()
    assert np.isnan(row_scores(np.full(5, 1.0), np.full(5, np.inf), np.ones((5, 1)))).all()
