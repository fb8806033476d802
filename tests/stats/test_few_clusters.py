import numpy as np
import pytest
from scipy import stats

from necrostats.errors import StatisticsError
from necrostats.stats.few_clusters import widened
from necrostats.stats.incidence import aalen_johansen

TIME, CAUSE = np.arange(1, 13), np.array([1, 1, 0, 2, 1, 1, 2, 0, 1, 1, 1, 0])


def _curve(**more):
    return aalen_johansen(TIME, CAUSE, causes=(1, 2), cluster=np.repeat(np.arange(6), 2), **more)


def test_limits_are_those_of_the_error_times_t_over_z_and_the_root_of_n_over_n_less_one():
    curve = _curve()
    wide = widened(curve, [6])
    share, error = curve.estimate[0, 0, 5], curve.std_error[0, 0, 5]
    spread = stats.t.ppf(0.975, 5) * error * np.sqrt(6 / 5) / (share * -np.log(share))
    assert wide.low[0, 0, 5] == pytest.approx(share ** np.exp(spread))
    assert wide.high[0, 0, 5] == pytest.approx(share ** np.exp(-spread))


def test_the_estimate_and_its_error_stay_and_many_clusters_change_nothing():
    curve = _curve()
    assert widened(curve, [6]).std_error is curve.std_error
    assert np.allclose(widened(curve, [10**9]).low, curve.low, equal_nan=True, atol=1e-8)


def test_one_cluster_or_none_has_no_limits():
    curve = _curve(group=np.repeat(["a", "b"], [10, 2]), groups=["a", "b", "c"])
    assert np.isnan(widened(curve, [5, 1, 0]).low[1:]).all()


def test_each_group_needs_its_number():
    with pytest.raises(StatisticsError):
        widened(_curve(), [5, 1])
