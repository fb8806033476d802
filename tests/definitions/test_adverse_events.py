from necrostats.definitions.adverse_events import THIRTY_DAYS


def test_the_default_window_says_itself():
    assert THIRTY_DAYS.sentence() == "during a session or up to 30 days after it"
