import pytest

from necrostats.definitions.adverse_events import DURING, ONE_DAY, THIRTY_DAYS, UNTIL_STENT_OUT, window_named
from necrostats.errors import ChoiceError


def test_every_window_says_itself():
    assert THIRTY_DAYS.sentence() == "during a session or up to 30 days after it"
    assert ONE_DAY.sentence() == "during a session or up to 1 day after it"
    assert DURING.sentence() == "during a session"
    assert UNTIL_STENT_OUT.sentence() == "from a session until the last stent is out"


def test_a_window_goes_by_its_name():
    assert window_named("30 days") is THIRTY_DAYS
    assert window_named(DURING) is DURING
    with pytest.raises(ChoiceError, match='Did you mean "30 days"'):
        window_named("30 day")
