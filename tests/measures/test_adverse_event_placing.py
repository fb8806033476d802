import numpy as np

from builders.courses import Course, registry_of
from necrostats.definitions.adverse_events import DURING, THIRTY_DAYS
from necrostats.measures.adverse_event_placing import WindowEnds, placed_events
from necrostats.registry.tables import registry_from


def _placed(registry, window=THIRTY_DAYS, **events):
    changed = {**registry.tables, "adverse_events": registry.adverse_events.assign(**events)}
    day = registry.sessions["day"].to_numpy(dtype=np.int64)
    ends = WindowEnds(last=day + window.days, known=np.ones(day.size, dtype=bool))
    return placed_events(registry_from(changed), window, ends)


def _naming_the_second_session(day, **events):
    registry = registry_of(Course(necrosectomies=[10], events=[(day, "bleeding")]))
    return _placed(registry, session_id=["P1D10"], **events)


def test_an_event_dated_before_the_session_it_names_does_not_count():
    before = _naming_the_second_session(9)
    assert not before.inside.any()
    assert before.outside["events dated before the session they name"] == 1
    assert _naming_the_second_session(10).inside.all()


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
