import pytest

from builders.courses import Course, registry_of
from builders.stented import with_events, with_stents
from necrostats.errors import DesignError
from necrostats.measures import adverse_event_rates

UNIT = "100 stent-days"


def _stent_row(registry, variable="any adverse event", group="all", **options):
    table = adverse_event_rates(registry, units=(UNIT,), **options).table
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
    assert adverse_event_rates(narrowed).table["n"].gt(0).any()
    assert adverse_event_rates(registry_of(Course()).indexed_in("2024Q1"), units=(UNIT,)) is not None
