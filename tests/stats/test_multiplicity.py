import numpy as np
import pytest
from statsmodels.stats.multitest import multipletests

from necrostats.errors import StatisticsError
from necrostats.stats.multiplicity import holm


def test_holm_is_that_of_statsmodels():
    p = [0.04, 0.001, 0.3, 0.02, 0.02, 1.0]
    assert holm(p) == pytest.approx(multipletests(p, method="holm")[1], abs=1e-15)


def test_holm_by_hand():
    """0.01 × 3, then 0.03 × 2; 0.04 × 1 may not fall below the one before it."""
    assert holm([0.04, 0.01, 0.03]) == pytest.approx([0.06, 0.03, 0.06])


def test_a_test_that_gave_no_p_is_passed_over():
    found = holm([0.02, np.nan, 0.03])
    assert np.isnan(found[1])
    assert found[[0, 2]] == pytest.approx([0.04, 0.04])
    assert holm([]).size == 0


def test_what_is_no_p_is_refused():
    with pytest.raises(StatisticsError, match="between 0 and 1"):
        holm([0.1, 1.2])
