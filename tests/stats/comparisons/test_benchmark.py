"""A share against a stated value."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.comparisons.benchmark import share_against


def test_none_of_three_against_a_half_worked_by_hand():
    assert_allclose(share_against(0, 3, 0.5).p_value, 2 / 8)
    assert_allclose(share_against(0, 3, 0.5, alternative="less").p_value, 1 / 8)
    assert share_against(0, 3, 0.5, alternative="greater").p_value == 1


def test_edges():
    assert np.isnan(share_against(0, 0, 0.5).p_value) and share_against(0, 0, 0.5).notes
    assert share_against(3, 3, 1).p_value == 1 and share_against(1, 3, 0).p_value == 0
    with pytest.raises(StatisticsError, match="benchmark"):
        share_against(1, 3, 1.2)
    with pytest.raises(ChoiceError):
        share_against(1, 3, 0.2, alternative="both")
