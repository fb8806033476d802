from __future__ import annotations

import numpy as np

from necrostats.stats.intervals import as_given, empty_denominators


def test_a_single_number_comes_back_as_a_float_and_an_array_as_an_array():
    assert type(as_given(np.array(0.5))) is float
    assert as_given(np.array([0.5])).shape == (1,)


def test_empty_denominators_are_counted_in_the_note():
    (note,) = empty_denominators(np.array([0, 3, 0]))
    assert note.code == "SMALL_N" and "2 of 3" in note.text
    assert empty_denominators(np.array([1, 2])) == ()
