import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.miscmodels.ordinal_model import OrderedModel

from necrostats.errors import StatisticsError
from necrostats.stats.ordinal import proportional_odds


def _sample(seed=0, n=120):
    rng = np.random.default_rng(seed)
    x = np.column_stack([rng.integers(0, 2, n), rng.normal(size=n)]).astype(float)
    return np.digitize(x @ [0.8, -0.5] + rng.logistic(size=n), [-1.0, 0.5, 2.0]), x, rng.integers(0, 25, n)


def test_it_is_the_ordered_model_of_statsmodels():
    category, x, group = _sample()
    fit = proportional_odds(category, x, group)
    known = OrderedModel(category, x, distr="logit").fit(method="bfgs", disp=0, gtol=1e-9)
    assert fit.coefficient == pytest.approx(known.params[:2], abs=1e-5)
    assert np.sqrt(np.diag(fit.model_covariance)) == pytest.approx(known.bse[:2], rel=1e-3)
    assert fit.log_likelihood == pytest.approx(known.llf, abs=1e-8)


def test_two_categories_and_two_groups_give_the_odds_ratio_of_the_table():
    """8 of 10 against 4 of 12: (8/2) / (4/8) = 8."""
    category = [1] * 8 + [0] * 2 + [1] * 4 + [0] * 8
    x = np.array([1.0] * 10 + [0.0] * 12)[:, None]
    fit = proportional_odds(category, x, np.arange(22))
    assert np.exp(fit.coefficient[0]) == pytest.approx(8.0)
    assert fit.model_covariance[0, 0] == pytest.approx(1 / 8 + 1 / 2 + 1 / 4 + 1 / 8)


def test_one_category_and_groups_told_apart_completely_have_no_model_and_say_so():
    x = np.repeat([0.0, 1.0], 6)[:, None]
    assert proportional_odds(np.ones(12), x, np.arange(12)).notes[0].code == "SINGULAR"
    apart = proportional_odds(np.repeat([0, 3], 6), x, np.arange(12))
    assert apart.notes[0].code == "SEPARATION" and np.isnan(apart.coefficient).all()
    one = proportional_odds([0, 1, 1, 2, 2, 0], np.array([0, 1, 0, 1, 0, 1.0])[:, None], np.zeros(6))
    assert np.isnan(one.contrast([1.0]).low) and one.notes[0].code == "FEW_CLUSTERS"
    with pytest.raises(StatisticsError):
        proportional_odds([0.5, 1.0], np.ones((2, 1)), [0, 1])


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 5000))
def test_the_order_turned_round_turns_the_sign_and_spacing_does_not_matter(seed):
    category, x, group = _sample(seed, n=60)
    fit = proportional_odds(category, x, group)
    turned, spaced = proportional_odds(3 - category, x, group), proportional_odds(10 * category + 2, x, group)
    if not fit.notes or fit.notes[0].code == "FEW_CLUSTERS":
        assert turned.coefficient == pytest.approx(-fit.coefficient, abs=1e-6)
        assert spaced.contrast([1, 0]).low == pytest.approx(fit.contrast([1, 0]).low, abs=1e-8)
