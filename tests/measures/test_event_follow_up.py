from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from builders.courses import Course, registry_of
from builders.stented import with_events, with_stents
from necrostats.definitions.adverse_events import (
    DURING,
    FOURTEEN_DAYS,
    ONE_DAY,
    THIRTY_DAYS,
    UNTIL_STENT_OUT,
)
from necrostats.errors import DesignError
from necrostats.measures import adverse_event_rates
from necrostats.measures.event_follow_up import WindowEnds, placed_events, watched, whole_histories
from necrostats.measures.grouping import session_groups
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
    return registry_from({**base.tables, "stents": stents}, recorded=base.recorded)


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
    free = registry_from({**free.tables, "adverse_events": free.adverse_events.iloc[:0]}, recorded=free.recorded)
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
    return registry_from({**base.tables, "sessions": base.sessions.assign(period=period)}, recorded=base.recorded)


def _changed(registry, table, **columns):
    return registry_from(
        {**registry.tables, table: registry.tables[table].assign(**columns)}, recorded=registry.recorded
    )


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


def _placed(registry, window=THIRTY_DAYS, **events):
    changed = {**registry.tables, "adverse_events": registry.adverse_events.assign(**events)}
    day = registry.sessions["day"].to_numpy(dtype=np.int64)
    ends = WindowEnds(last=day + window.days, known=np.ones(day.size, dtype=bool))
    return placed_events(registry_from(changed), window, ends)


def _naming_the_second_session(day, **events):
    registry = registry_of(Course(necrosectomies=[10], events=[(day, "bleeding")]))
    return _placed(registry, session_id=["P1D10"], **events)


def test_an_event_dated_before_the_session_it_names_counts_only_in_the_days_of_another():
    before = _naming_the_second_session(9)
    assert not before.inside.any()
    assert before.host.tolist() == [0]
    assert before.outside["events dated before the session they name"] == 0
    assert _naming_the_second_session(10).inside.all()


def test_an_event_dated_before_the_session_it_names_and_in_the_days_of_none_does_not_count():
    registry = registry_of(Course(necrosectomies=[50], events=[(40, "bleeding")]))
    before = _placed(registry, session_id=["P1D50"])
    assert not before.inside.any()
    assert before.host.tolist() == [-1]
    assert before.outside["events dated before the session they name"] == 1


def test_an_event_dated_to_a_range_that_reaches_the_session_it_names_counts():
    assert _naming_the_second_session(9, day_latest=[12]).inside.all()
    assert not _naming_the_second_session(7, day_latest=[9]).inside.any()


def test_events_dated_to_a_range_are_counted_inside_and_after_the_window():
    registry = registry_of(Course(events=[(3, "bleeding"), (40, "bleeding"), (5, "bleeding")]))
    placed = _placed(registry, day_latest=[9, 60, None])
    assert (placed.ranged_inside, placed.ranged_after) == (1, 1)
    assert placed.inside.tolist() == [True, False, True]


def test_every_event_that_does_not_count_has_one_reason():
    registry = registry_of(Course(events=[(-1, "bleeding"), (0, "bleeding"), (1, "bleeding"), (0, "bleeding")]))
    placed = _placed(registry, DURING, phase=[None, None, "after", "during"])
    assert placed.inside.tolist() == [False, False, False, True]
    assert [count for count in placed.outside.values() if count] == [1, 1, 1]
    assert placed.sessions_with_event(1).tolist() == [True]


def test_a_narrowed_registry_is_refused_by_what_needs_whole_histories():
    whole_histories(registry_of(Course()), "This")
    with pytest.raises(DesignError, match="narrowed to 2024Q1"):
        whole_histories(registry_of(Course()).during("2024Q1"), "This")


UNIT = "100 stent-days"


def _stent_row(registry, variable="any adverse event", group="all", **options):
    table = adverse_event_rates(registry, units=(UNIT,), **options).frame
    return table[(table["variable"] == variable) & (table["group"] == group)].iloc[0]


def test_stent_days_run_from_the_day_it_went_in_to_the_day_it_came_out():
    registry = with_stents(
        registry_of(Course(events=[(20, "stent_migration")]), Course()),
        {"patient_id": "P1", "placed_day": 0, "removed_day": 28},
        {"patient_id": "P2", "placed_day": 3, "removed_day": 23},
    )
    row = _stent_row(registry)
    assert (row["events"], row["n"], row["per"]) == (1, 48, 100)
    assert row["estimate"] == pytest.approx(100 / 48)


def test_a_stent_in_place_counts_to_last_contact_and_one_of_the_same_day_counts_one():
    registry = with_stents(
        registry_of(Course(last_contact=90)),
        {"patient_id": "P1", "placed_day": 0, "end_reason": "in_place"},
        {"patient_id": "P1", "placed_day": 10, "removed_day": 10},
    )
    assert _stent_row(registry)["n"] == 91


def test_a_stent_of_which_the_end_is_not_known_is_left_out_with_its_events_and_counted():
    base = registry_of(Course(events=[(20, "stent_migration")]), Course())
    registry = with_stents(
        base, {"patient_id": "P1", "placed_day": 0}, {"patient_id": "P2", "placed_day": 0, "removed_day": 30}
    )
    result = adverse_event_rates(registry, units=(UNIT,))
    assert tuple(_stent_row(registry)[["events", "n"]]) == (0, 30)
    assert result.population.left_out["stents of which the end is not known"] == 1
    assert result.population.left_out["stent-related events on days on which no stent was known to be in"] == 1


def test_only_events_of_stents_count_and_the_window_does_not():
    """A bleed put down to a stent on day 50, past the 30 days of a session, and one put down to nothing."""
    base = with_stents(
        registry_of(Course(events=[(50, "bleeding"), (51, "bleeding")])),
        {"patient_id": "P1", "placed_day": 0, "removed_day": 60},
    )
    registry = with_events(base, stent_id=["T1", None])
    assert _stent_row(registry)["events"] == 1
    assert _stent_row(registry, "bleeding")["events"] == 1
    assert _stent_row(registry, "stent_migration")["events"] == 0


def test_an_event_before_its_stent_went_in_or_after_it_came_out_does_not_count():
    base = with_stents(
        registry_of(Course(events=[(4, "stent_occlusion"), (31, "stent_occlusion")])),
        {"patient_id": "P1", "placed_day": 5, "removed_day": 30},
    )
    assert _stent_row(base)["events"] == 0


def test_stents_are_split_by_something_of_the_patient():
    registry = with_stents(
        registry_of(Course(about={"sex": "male"}), Course(about={"sex": "female"})),
        {"patient_id": "P1", "placed_day": 0, "removed_day": 28},
        {"patient_id": "P2", "placed_day": 0, "removed_day": 10},
    )
    assert _stent_row(registry, group="male", by="sex")["n"] == 28
    assert _stent_row(registry, group="other", by="sex")["n"] == 0


def test_stents_of_a_patient_in_whom_nobody_looked_do_not_count():
    registry = with_stents(
        registry_of(Course(unchecked=[0]), Course()), {"patient_id": "P1", "placed_day": 0, "removed_day": 28}
    )
    result = adverse_event_rates(registry, units=(UNIT,))
    assert _stent_row(registry)["n"] == 0
    assert result.population.left_out["stents in patients with no record that adverse events were looked for"] == 1


def test_stent_days_are_not_split_by_something_of_the_session():
    with pytest.raises(DesignError, match="a stent stays in over many sessions"):
        adverse_event_rates(registry_of(Course()), by="period", units=(UNIT,))


def test_a_registry_narrowed_to_a_quarter_is_refused_since_it_mixes_its_events_with_all_stent_days():
    narrowed = registry_of(Course()).during("2024Q1")
    with pytest.raises(DesignError, match=r'indexed_in\("2024Q1"\)'):
        adverse_event_rates(narrowed, units=(UNIT,))
    assert adverse_event_rates(narrowed).frame["n"].gt(0).any()
    assert adverse_event_rates(registry_of(Course()).indexed_in("2024Q1"), units=(UNIT,)) is not None
