import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.errors import DesignError
from necrostats.measures import interval_censored_resolution, time_to_resolution
from necrostats.measures.interval_censored import BETWEEN, DOCUMENTED, MIDDLE
from necrostats.present import chart, describe, tabulate


def _between(left, right, **about):
    return Course(scans=[(left, 80), (right, 10)], well_on=[right], about=about)


def _at(result, day, cause, group="all"):
    table = result.table
    return table[(table["days"] == day) & (table["cause"] == cause) & (table["group"] == group)].iloc[0]


def _run(*courses, days=(30, 60, 90, 180), replicates=40, **more):
    return interval_censored_resolution(registry_of(*courses), days=days, replicates=replicates, **more)


def test_four_ranges_worked_by_hand():
    """Within (10, 20], (15, 30], (25, 40] and after 40: innermost (15, 20], (25, 30] and beyond 40.

    With masses a on (15, 20], b on (25, 30] and c beyond 40 the likelihood is a (a + b) b c: a = b = 3/8, c = 1/4.
    """
    result = _run(_between(10, 20), _between(15, 30), _between(25, 40), Course(scans=[(40, 60)], last_contact=40),
                  days=(20, 27, 30))  # fmt: skip
    assert _at(result, 20, BETWEEN)["estimate"] == pytest.approx(3 / 8, abs=1e-6)
    assert _at(result, 30, BETWEEN)["estimate"] == pytest.approx(3 / 4, abs=1e-6)
    inside = _at(result, 27, BETWEEN)
    assert (inside["least"], inside["most"]) == pytest.approx((3 / 8, 3 / 4), abs=1e-6)
    assert inside["estimate"] == pytest.approx(9 / 16, abs=1e-6)


def test_the_mid_point_is_half_way_and_the_documented_day_the_scan():
    result = _run(_between(10, 20), _between(15, 30), days=(15, 20, 23))
    assert [_at(result, day, MIDDLE)["estimate"] for day in (15, 20, 23)] == [0.5, 0.5, 1]
    assert [_at(result, day, DOCUMENTED)["estimate"] for day in (15, 20, 23)] == [0, 0.5, 0.5]


def test_the_documented_curve_is_that_of_time_to_resolution():
    courses = [_between(number, number + 12) for number in range(8, 60, 4)] + [
        Course(died_on=33),
        Course(last_contact=50),
    ]
    ours = _run(*courses)
    theirs = time_to_resolution(registry_of(*courses)).table.query("cause == 'resolved'")
    mine = ours.table.query("cause == 'resolved'")
    assert np.array_equal(mine["estimate"], theirs["estimate"], equal_nan=True)
    assert np.array_equal(mine["conf_low"], theirs["conf_low"], equal_nan=True)


def test_daily_scans_make_the_interval_censored_curve_the_documented_one():
    courses = [_between(day - 1, day) for day in range(10, 110, 5)]
    result = _run(*courses, days=(30, 60, 90))
    for day in (30, 60, 90):
        assert _at(result, day, BETWEEN)["estimate"] == pytest.approx(
            _at(result, day, DOCUMENTED)["estimate"], abs=1e-6
        )


def test_a_patient_who_dies_unresolved_competes_in_all_three():
    """Ten of twenty die on day 15 unresolved: no more than half can ever be resolved, however it is dated."""
    courses = [_between(19, 20) for _ in range(10)] + [Course(scans=[(10, 80)], died_on=15) for _ in range(10)]
    result = _run(*courses)
    assert [_at(result, 90, way)["estimate"] for way in (DOCUMENTED, MIDDLE, BETWEEN)] == pytest.approx([0.5] * 3)


def test_the_band_holds_the_estimate_and_comes_again_with_the_same_seed():
    courses = [_between(number, number + 14) for number in range(8, 80, 3)]
    one, two = _run(*courses), _run(*courses)
    row = _at(one, 60, BETWEEN)
    assert row["conf_low"] <= row["least"] <= row["most"] <= row["conf_high"]
    assert row["conf_high"] > row["conf_low"]
    assert one.table.equals(two.table)
    assert not one.table.equals(_run(*courses, seed=5).table)


def test_medians_are_given_for_every_way_and_come_earlier_than_the_scan():
    courses = [_between(number, number + 20) for number in range(8, 80, 3)]
    middle = _run(*courses).medians.set_index("cause")
    assert middle.loc[MIDDLE, "estimate"] == middle.loc[DOCUMENTED, "estimate"] - 10
    assert middle.loc[BETWEEN, "conf_low"] <= middle.loc[BETWEEN, "estimate"] <= middle.loc[BETWEEN, "conf_high"]
    assert middle.loc[BETWEEN, "estimate"] < middle.loc[DOCUMENTED, "estimate"]


def test_groups_keep_their_own_curves_and_an_empty_one_stays():
    courses = [_between(number, number + 10, sex="male") for number in range(8, 60, 4)]
    courses += [_between(number, number + 10, sex="female") for number in range(60, 120, 4)]
    result = _run(*courses, by="sex")
    assert _at(result, 60, BETWEEN, "male")["estimate"] > 0.9 > _at(result, 60, BETWEEN, "female")["estimate"]
    assert np.isnan(_at(result, 60, BETWEEN, "other")["estimate"])
    assert chart(result).alt and tabulate(result).frame.shape[0] and describe(result)


@pytest.mark.parametrize(
    "courses", [[_between(10, 20)], [Course(last_contact=50)] * 12, [Course(died_on=9)] * 12, [_between(10, 20)] * 12]
)
def test_one_patient_nobody_resolved_and_all_at_once_give_an_answer(courses):
    result = _run(*courses)
    assert len(result.table) and "INTERVAL_CENSORED" in {note.code for note in result.notes}
    assert chart(result).alt and describe(result)


def test_fewer_than_ten_patients_have_no_band_and_a_note():
    result = _run(*[_between(number, number + 14) for number in range(8, 40, 5)])
    assert np.isnan(_at(result, 60, BETWEEN)["conf_low"])
    assert any("no bootstrap band" in note.text for note in result.notes)


def test_the_cautions_name_how_wide_the_ranges_are_and_who_never_resolved():
    result = _run(*[_between(number, number + 14) for number in range(8, 40, 3)], Course(died_on=20))
    texts = " ".join(note.text for note in result.notes)
    assert "half of the time 14 days or more apart" in texts
    assert "1 patient died, went on to surgery or ended otherwise" in texts


def test_what_is_shown_says_how_each_share_is_dated():
    said = describe(_run(*[_between(number, number + 14) for number in range(8, 80, 3)]))
    assert "had resolved by the interval-censored estimate" in said
    assert "had resolved if dated half-way between the two scans" in said


def test_something_known_only_later_is_refused_as_a_group():
    with pytest.raises(DesignError, match="immortal time"):
        _run(_between(10, 20), by="instrument_class")


def test_where_everybody_resolved_between_the_same_scans_the_median_has_both_limits():
    """All 12 within (10, 20]: half are resolved by day 20 for certain, though there is no band at 12 of 12."""
    middle = _run(*[_between(10, 20)] * 12, replicates=200).medians.set_index("cause").loc[BETWEEN]
    assert (middle["estimate"], middle["conf_low"], middle["conf_high"]) == (15, 11, 20)


def test_fewer_than_ten_have_no_limits_of_the_median_even_so():
    middle = _run(*[_between(10, 20)] * 9).medians.set_index("cause").loc[BETWEEN]
    assert middle["estimate"] == 15 and np.isnan([middle["conf_low"], middle["conf_high"]]).all()


def test_the_method_says_where_there_is_no_band():
    assert "none where nobody or everybody has resolved" in _run(_between(10, 20)).method.interval
