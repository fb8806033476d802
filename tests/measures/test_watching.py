import numpy as np
import pandas as pd
import pytest

from builders.courses import Course, registry_of
from necrostats.definitions.adverse_events import DURING, FOURTEEN_DAYS, ONE_DAY, THIRTY_DAYS, UNTIL_STENT_OUT
from necrostats.measures.grouping import session_groups
from necrostats.measures.watching import watched
from necrostats.registry.tables import registry_from


def _watched(registry, window=THIRTY_DAYS):
    return watched(registry, session_groups(registry, None), window)


@pytest.mark.parametrize(("window", "counts"), [(ONE_DAY, 1), (FOURTEEN_DAYS, 2), (THIRTY_DAYS, 3)])
def test_a_wider_window_holds_more(window, counts):
    registry = registry_of(Course(events=[(1, "bleeding"), (14, "bleeding"), (30, "bleeding"), (31, "bleeding")]))
    seen = _watched(registry, window)
    assert seen.per_session(np.ones(4, dtype=bool)).tolist() == [counts]
    assert seen.outside == 4 - counts


def test_an_event_falls_to_the_last_session_on_or_before_its_day():
    seen = _watched(registry_of(Course(necrosectomies=[10, 20], events=[(19, "bleeding")])))
    assert seen.event_session.tolist() == [1]


def test_an_event_of_which_the_phase_is_not_recorded_is_not_taken_for_one_during_the_session():
    seen = _watched(registry_of(Course(events=[(0, "bleeding")])), DURING)
    assert seen.per_session(np.ones(1, dtype=bool)).tolist() == [0]
    assert (seen.no_phase, seen.outside) == (1, 0)


def _with_stent(**stent):
    base = registry_of(Course(events=[(50, "bleeding")], last_contact=90))
    one = {"stent_id": "T1", "patient_id": "P1", "stent_type": "lumen_apposing", "placed_day": 0, **stent}
    stents = pd.DataFrame([one])
    return registry_from({**base.tables, "stents": stents})


def test_until_the_stent_is_out_ends_with_the_removal():
    out_before = _watched(_with_stent(removed_day=40), UNTIL_STENT_OUT)
    out_after = _watched(_with_stent(removed_day=60), UNTIL_STENT_OUT)
    assert (out_before.event_session.tolist(), out_before.days.tolist()) == ([-1], [41])
    assert (out_after.event_session.tolist(), out_after.days.tolist()) == ([0], [61])


def test_a_stent_still_in_place_is_watched_to_the_last_contact_and_one_not_known_not_at_all():
    assert _watched(_with_stent(end_reason="in_place"), UNTIL_STENT_OUT).days.tolist() == [91]
    assert _watched(_with_stent(), UNTIL_STENT_OUT).days.tolist() == [1]
