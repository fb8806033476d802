import pytest

from builders.courses import Course, registry_of
from necrostats.errors import ChoiceError
from necrostats.measures import landmark_resolution
from necrostats.present import chart, describe


def _course(tools, resolved=None, **more):
    scans = [] if resolved is None else [(resolved, 10)]
    return Course(
        necrosectomies=list(tools), tools={day: [tool] for day, tool in tools.items()}, scans=scans,
        well_on=[] if resolved is None else [resolved], **more,
    )  # fmt: skip


def _at(result, day, group):
    table = result.table
    return table[(table["days"] == day) & (table["cause"] == "resolved") & (table["group"] == group)].iloc[0]


EARLY, NOT_EARLY = "snare by day 28", "no snare by day 28"


def test_groups_are_fixed_at_the_landmark_among_those_still_under_treatment():
    registry = registry_of(
        _course({7: "snare"}, 20), _course({7: "snare"}, 60), _course({7: "net", 40: "snare"}, 50),
        _course({7: "net"}, 100), _course({7: "net"}, last_contact=25), _course({7: "net"}, died_on=28),
    )  # fmt: skip
    result = landmark_resolution(registry, by_ever="snare")
    assert _at(result, 28, EARLY)["at_risk"] == 1
    assert _at(result, 28, NOT_EARLY)["at_risk"] == 2
    assert _at(result, 60, EARLY)["estimate"] == 1
    assert _at(result, 60, NOT_EARLY)["estimate"] == 0.5
    assert result.population.patients == 3
    assert result.population.left_out["patients resolved, ended or last seen by day 28"] == 3


def test_a_use_on_the_day_of_the_landmark_counts_and_one_after_it_does_not():
    registry = registry_of(_course({28: "snare"}, 60), _course({29: "snare"}, 60))
    result = landmark_resolution(registry, by_ever="snare")
    assert _at(result, 60, EARLY)["at_risk"] == _at(result, 60, NOT_EARLY)["at_risk"] == 1


def test_a_patient_who_may_have_had_it_is_left_out_and_counted():
    blank = Course(necrosectomies=[7], scans=[(60, 5)], well_on=[60])
    result = landmark_resolution(registry_of(blank, _course({7: "net"}, 60)), by_ever="snare")
    assert result.population.left_out["patients of whom it is not recorded whether snare was used"] == 1
    assert result.population.patients == 1


def test_days_stay_counted_from_the_index_drainage_and_earlier_named_days_go():
    result = landmark_resolution(registry_of(_course({7: "net"}, 60)), by_ever="snare", landmark=45)
    assert result.landmarks == (45, 60, 90, 180)


def test_a_landmark_beyond_the_horizon_and_a_class_off_the_list_are_refused():
    registry = registry_of(_course({7: "net"}, 60))
    with pytest.raises(ChoiceError, match="before day 180"):
        landmark_resolution(registry, by_ever="snare", landmark=180)
    with pytest.raises(ChoiceError, match="instrument class"):
        landmark_resolution(registry, by_ever="sex")


def test_it_carries_its_caution_and_can_be_presented():
    registry = registry_of(*[_course({7: "net"}, 60)] * 6, *[_course({7: "snare"}, 70)] * 6)
    result = landmark_resolution(registry, by_ever="snare")
    assert any(note.code == "IMMORTAL_TIME" and "fixed at day 28" in note.text for note in result.notes)
    assert "among those still under treatment after day 28" in describe(result)
    assert chart(result).alt


def test_nobody_gives_an_empty_answer_and_no_error():
    result = landmark_resolution(registry_of(_course({7: "net"}, 60)).select([False]), by_ever="net")
    assert result.population.patients == 0
    assert result.table["estimate"].isna().all()
