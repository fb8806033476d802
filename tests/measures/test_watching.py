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
    assert seen.left_out()["events after the window"] == 4 - counts


def test_an_event_falls_to_the_last_session_on_or_before_its_day():
    seen = _watched(registry_of(Course(necrosectomies=[10, 20], events=[(19, "bleeding")])))
    assert seen.event_session.tolist() == [1]


def test_an_event_of_which_the_phase_is_not_recorded_is_not_taken_for_one_during_the_session():
    seen = _watched(registry_of(Course(events=[(0, "bleeding")])), DURING)
    assert seen.per_session(np.ones(1, dtype=bool)).tolist() == [0]
    reason = "events of which it is not recorded whether they happened during the session"
    assert (seen.left_out()[reason], seen.left_out()["events after the window"]) == (1, 0)


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


def test_a_stent_still_in_place_is_watched_to_the_last_contact():
    seen = _watched(_with_stent(end_reason="in_place"), UNTIL_STENT_OUT)
    assert (seen.days.tolist(), seen.event_session.tolist(), seen.unfinished) == ([91], [0], 0)
    assert _watched(_with_stent(end_reason="in_place").during("2024Q1"), UNTIL_STENT_OUT).days.tolist() == [91]


def test_while_a_stent_is_in_a_session_without_an_event_has_not_been_watched_to_the_end():
    free = _with_stent(end_reason="in_place")
    free = registry_from({**free.tables, "adverse_events": free.adverse_events.iloc[:0]})
    assert _watched(free, UNTIL_STENT_OUT).unfinished == 1


def test_a_stent_of_unknown_end_leaves_out_its_patients_sessions_under_that_window_only():
    seen = _watched(_with_stent(), UNTIL_STENT_OUT)
    assert (seen.sessions, seen.event_session.tolist()) == (0, [-1])
    assert seen.left_out()["sessions in patients with a stent of which the end is not known"] == 1
    assert seen.left_out()["events in patients with a stent of which the end is not known"] == 1
    assert seen.left_out()["patients with no record that adverse events were looked for"] == 0
    assert _watched(_with_stent()).sessions == 1


def _over_two_quarters(*courses):
    """The courses with sessions from day 10 on in 2024Q2."""
    base = registry_of(*courses)
    period = np.where(base.sessions["day"].to_numpy(dtype=np.int64) < 10, "2024Q1", "2024Q2")
    return registry_from({**base.tables, "sessions": base.sessions.assign(period=period)})


def _changed(registry, table, **columns):
    return registry_from({**registry.tables, table: registry.tables[table].assign(**columns)})


@pytest.mark.parametrize("last_contact", [5, 15, 200])
def test_a_quarter_ends_its_windows_at_the_next_session_of_a_later_one(last_contact):
    registry = _over_two_quarters(Course(necrosectomies=[10, 14], last_contact=last_contact))
    quarters = [_watched(registry.during(each)).days.sum() for each in ("2024Q1", "2024Q2")]
    assert quarters[0] == 10
    assert sum(quarters) == _watched(registry).days.sum()
    by_period = watched(registry, session_groups(registry, "period"), THIRTY_DAYS)
    assert np.bincount(by_period.group, weights=by_period.days).tolist() == quarters


def test_an_unchecked_session_and_one_without_a_group_end_the_window_before_them():
    registry = registry_of(Course(necrosectomies=[10, 20], unchecked=[10]))
    assert _watched(registry).days.tolist() == [10, 31]
    ungrouped = _changed(registry, "sessions", texture=["liquid", "liquid", None])
    seen = watched(ungrouped, session_groups(ungrouped, "texture"), THIRTY_DAYS)
    assert seen.days.tolist() == [10]


def test_an_event_in_a_session_without_a_group_is_counted_as_left_out():
    registry = _changed(registry_of(Course(events=[(3, "bleeding")])), "sessions", texture=[None])
    seen = watched(registry, session_groups(registry, "texture"), THIRTY_DAYS)
    assert seen.event_session.tolist() == [-1]
    assert seen.left_out()["events in sessions without a recorded group"] == 1


def test_two_sessions_on_one_day_share_it_and_the_last_has_the_days_that_follow():
    registry = _changed(registry_of(Course(necrosectomies=[10])), "sessions", day=[0, 0])
    assert _watched(registry).days.tolist() == [0, 31]
    apart = watched(registry, session_groups(registry, "session_type"), THIRTY_DAYS)
    assert apart.days.tolist() == [1, 31]


def test_records_after_the_last_contact_still_count_the_day_of_the_session_and_of_the_event():
    seen = _watched(registry_of(Course(necrosectomies=[50], last_contact=20, events=[(55, "bleeding")])))
    assert seen.days.tolist() == [31, 6]
    assert _watched(registry_of(Course(necrosectomies=[50], last_contact=20, observed=30))).days.tolist() == [31, 1]


def test_only_an_event_inside_the_window_makes_an_unchecked_session_one_that_was_looked_at():
    after = _watched(registry_of(Course(unchecked=[0], events=[(40, "bleeding")])))
    assert (after.sessions, after.unchecked, after.by_event_only) == (0, 1, 0)
    assert after.left_out()["events after the window"] == 1
    inside = _watched(registry_of(Course(unchecked=[0], events=[(20, "bleeding")])))
    assert (inside.sessions, inside.unchecked, inside.by_event_only) == (1, 0, 1)


def test_a_window_that_runs_past_the_last_day_seen_is_unfinished_unless_an_event_or_death_ends_it():
    lost = Course(last_contact=12)
    affected = Course(last_contact=12, events=[(3, "bleeding")])
    seen = _watched(registry_of(lost, affected, Course(died_on=12), Course(last_contact=30)))
    assert (seen.unfinished, seen.sessions) == (1, 4)
    assert _watched(registry_of(Course(necrosectomies=[10], last_contact=40))).unfinished == 0


def test_an_event_before_any_session_is_still_counted_in_the_quarter_of_the_first():
    base = _over_two_quarters(Course(necrosectomies=[10], events=[(-3, "bleeding")]))
    reason = "events before any session"
    assert _watched(base.during("2024Q1")).left_out()[reason] == 1
    assert _watched(base.during("2024Q2")).left_out()[reason] == 0
