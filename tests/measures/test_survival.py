import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures import event_free_survival, follow_up
from necrostats.present import chart, describe, tabulate


def _at(result, day, group="all"):
    table = result.table
    return table[(table["days"] == day) & (table["group"] == group)].iloc[0]


def _registry():
    """Death on 20, surgery on 40 and death on 100, two alive: 0.8 by day 30, 0.6 by day 60."""
    return registry_of(Course(died_on=20), Course(surgery_on=40, died_on=100), Course(), Course(), Course(drain_on=10))


def test_the_first_end_counts_and_resolution_ends_nothing():
    resolved = Course(scans=[(15, 5)], well_on=[15], died_on=50)
    result = event_free_survival(registry_of(resolved, Course()))
    assert (_at(result, 30)["estimate"], _at(result, 60)["estimate"]) == (1, 0.5)


def test_five_patients_worked_by_hand():
    result = event_free_survival(_registry())
    assert [_at(result, day)["estimate"] for day in (30, 60, 90, 180)] == pytest.approx([0.8, 0.6, 0.6, 0.6])
    assert _at(result, 60)["at_risk"] == 3


def test_other_ends_can_be_asked_for():
    alive = event_free_survival(_registry(), ends="death")
    every = event_free_survival(_registry(), ends=("percutaneous drain", "death", "surgery"))
    assert [_at(alive, day)["estimate"] for day in (60, 180)] == pytest.approx([0.8, 0.6])
    assert _at(every, 30)["estimate"] == pytest.approx(0.6)
    assert every.title == "Survival free of death, surgery and percutaneous drain"


def test_an_end_off_the_list_is_refused():
    with pytest.raises(ChoiceError, match="death, surgery, percutaneous drain"):
        event_free_survival(_registry(), ends=("discharge",))
    with pytest.raises(ChoiceError, match="ends is empty"):
        event_free_survival(_registry(), ends=())


def test_something_known_only_later_is_refused_as_a_group():
    with pytest.raises(DesignError, match="immortal time"):
        event_free_survival(_registry(), by="ever_powered_debrider")


def test_it_is_drawn_from_100_percent_downwards_and_said_so():
    result = event_free_survival(registry_of(*[Course()] * 9, Course(died_on=0)))
    axes = chart(result).fig.axes[0]
    assert axes.lines[0].get_ydata()[0] == 1
    assert describe(result).startswith("90 days from index drainage 90 % of 10 patients")
    assert "were free of death and surgery" in describe(result)
    assert list(tabulate(result).frame.columns)[-1] == "Free of death and surgery, % (95 % CI)"


def test_a_handful_is_listed_without_a_rate():
    assert describe(event_free_survival(registry_of(Course(), Course(died_on=9)))).startswith(
        "Of 2 patients 1 were free of death and surgery while observed; too few for a rate."
    )


def test_follow_up_takes_the_end_of_observation_as_the_event():
    """Last seen on 100, 200, 300; dead on 50 and 150 (cut short): 100 of 4 at risk, 200 of 2: S 3/4, 3/8."""
    courses = [Course(last_contact=day) for day in (100, 200, 300)] + [Course(died_on=day) for day in (50, 150)]
    result = follow_up(registry_of(*courses))
    assert result.table["estimate"].item() == 200
    assert result.table["n"].item() == 5


def test_follow_up_ends_at_the_data_lock():
    assert follow_up(registry_of(Course(last_contact=90, observed=80))).table["estimate"].item() == 80


def test_follow_up_by_group_keeps_the_groups_with_nobody():
    result = follow_up(registry_of(*[Course(about={"sex": "male"}, last_contact=70)] * 5), by="sex")
    assert result.table["n"].tolist() == [0, 5, 0]
    assert np.isnan(result.table["estimate"].to_numpy()[[0, 2]]).all()
    assert "male 70 days" in describe(result)


def test_nobody_gives_an_empty_answer_and_no_error():
    nobody = _registry().select([False] * 5)
    for result in (event_free_survival(nobody), follow_up(nobody)):
        assert result.table["estimate"].isna().all()
        assert chart(result).alt and describe(result) and tabulate(result).html


def test_follow_up_without_a_median_or_without_limits_says_why():
    never = follow_up(registry_of(*[Course(died_on=30)] * 6))
    assert np.isnan(never.table["estimate"].item()) and [note.code for note in never.notes] == ["NOT_REACHED"]
    alike = follow_up(registry_of(*[Course(last_contact=90)] * 6))
    assert alike.table["estimate"].item() == 90 and [note.code for note in alike.notes] == ["NO_LIMITS"]
    assert follow_up(registry_of(*[Course(last_contact=day) for day in range(90, 140)])).notes[1:] == ()
