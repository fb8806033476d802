"""Finkelstein DM, Wolfe RA. Biometrics 1985;41:933-945: breast retraction after radiotherapy, known only as ranges.

Data and masses from memory; masses as printed (four decimals) by R's interval::icfit.
"""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose, assert_array_equal

from builders.outside_values import numbers, values
from necrostats.stats.npmle import npmle

SERIES = values("finkelstein_wolfe_1985")


def test_masses_and_their_places_are_as_published():
    left, right = SERIES["left"], numbers(SERIES["right"])
    found = npmle(left, right)
    assert len(left) == 46
    assert_array_equal(np.stack([found.left, found.right], axis=1), SERIES["intervals"])
    assert_allclose(found.mass, SERIES["mass"], rtol=0, atol=0.5e-4)
