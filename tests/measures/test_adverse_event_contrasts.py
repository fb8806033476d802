import pytest

from necrostats.errors import ChoiceError
from necrostats.measures.adverse_event_contrasts import COMPARED_UNITS, MEASURES_OF, TESTS_OF, asked_for


@pytest.mark.parametrize("unit", COMPARED_UNITS)
def test_each_unit_has_a_measure_of_its_own_by_default(unit):
    asked = asked_for(unit, None, None, None, 0.95)
    assert asked.measure == MEASURES_OF[unit][0]
    assert asked.test is None


@pytest.mark.parametrize("unit", COMPARED_UNITS)
def test_a_test_of_another_unit_is_answered_with_those_of_this_one(unit):
    other = next(name for each in COMPARED_UNITS for name in TESTS_OF[each] if name not in TESTS_OF[unit])
    with pytest.raises(ChoiceError, match=TESTS_OF[unit][0]):
        asked_for(unit, None, None, other, 0.95)
