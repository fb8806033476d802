from __future__ import annotations

import numpy as np
import pytest

from builders.courses import Course, registry_of
from builders.many_courses import with_tables
from necrostats import bundled
from necrostats.definitions.outcomes import outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION
from necrostats.errors import ChoiceError
from necrostats.measures import landmark_resolution, resolution_after_use, resolution_by_stent
from necrostats.measures.instrument_use import stretches
from necrostats.present import chart, words
from necrostats.registry.loading import read_registry
from necrostats.stats.cox import cox


def _course(tools, resolved=None, **more):
    scans = [] if resolved is None else [(resolved, 10)]
    return Course(
        necrosectomies=list(tools),
        tools={day: [tool] for day, tool in tools.items()},
        scans=scans,
        well_on=[] if resolved is None else [resolved],
        **more,
    )


def _at(result, day, group):
    table = result.frame
    return table[(table["days"] == day) & (table["cause"] == "resolved") & (table["group"] == group)].iloc[0]


EARLY, NOT_EARLY = "snare by day 28", "no snare by day 28"


def test_groups_are_fixed_at_the_landmark_among_those_still_under_treatment():
    registry = registry_of(
        _course({7: "snare"}, 20),
        _course({7: "snare"}, 60),
        _course({7: "net", 40: "snare"}, 50),
        _course({7: "net"}, 100),
        _course({7: "net"}, last_contact=25),
        _course({7: "net"}, died_on=28),
    )
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
    assert "among those still under treatment after day 28" in words(result)
    assert chart(result).alt


def test_nobody_gives_an_empty_answer_and_no_error():
    result = landmark_resolution(registry_of(_course({7: "net"}, 60)).select([False]), by_ever="net")
    assert result.population.patients == 0
    assert result.frame["estimate"].isna().all()


def _stretches(*courses):
    registry = registry_of(*courses)
    return stretches(registry, outcomes(registry, DOCUMENTED_RESOLUTION), "net")


def _course_use_so_far(tools, end=60, **more):
    days = list(tools)
    return Course(
        necrosectomies=days, tools={day: [tool] for day, tool in tools.items()}, scans=[(end, 5)], well_on=[end], **more
    )


def test_a_course_is_cut_at_each_necrosectomy_and_use_begins_with_the_first():
    rows = _stretches(_course_use_so_far({10: "snare", 20: "net", 30: "snare"}))
    assert rows.entry.tolist() == [0, 10, 20, 30]
    assert rows.time.tolist() == [10, 20, 30, 60]
    assert rows.used.tolist() == [0, 0, 1, 1]
    assert rows.sessions.tolist() == [0, 1, 2, 3]
    assert rows.resolved.tolist() == [False, False, False, True]


def test_the_time_before_first_use_is_never_put_down_to_it():
    rows = _stretches(_course_use_so_far({10: "net"}), _course_use_so_far({10: "snare"}), Course(last_contact=30))
    before = (rows.time - rows.entry)[rows.used == 0].sum()
    assert before == 10 + 60 + 30
    assert (rows.time - rows.entry)[rows.used == 1].sum() == 50


def test_a_session_on_the_day_of_resolution_cuts_nothing():
    rows = _stretches(Course(necrosectomies=[40], tools={40: ["net"]}, scans=[(40, 5)], well_on=[40]))
    assert (rows.entry.tolist(), rows.time.tolist(), rows.resolved.tolist()) == ([0], [40], [True])


def test_a_patient_with_a_session_that_names_no_instrument_is_left_out_and_counted():
    rows = _stretches(Course(necrosectomies=[10], scans=[(60, 5)], well_on=[60]), _course_use_so_far({10: "net"}))
    assert rows.unrecorded == 1
    assert set(rows.patient) == {1}


def test_too_few_resolutions_give_no_ratio_and_a_note():
    result = resolution_after_use(
        registry_of(_course_use_so_far({10: "net"}), _course_use_so_far({10: "snare"})), instrument_class="net"
    )
    assert np.isnan(result.frame["estimate"]).all()
    assert result.notes


def test_nobody_gives_an_empty_answer():
    result = resolution_after_use(registry_of(Course()).select([False]), instrument_class="net")
    assert result.population.patients == 0
    assert np.isnan(result.frame["estimate"]).all()


def test_an_unknown_class_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match="snare"):
        resolution_after_use(registry_of(Course()), instrument_class="spoon")


def test_no_class_of_the_invented_registry_speeds_or_slows_resolution():
    """The truth is no effect of any class; nine looks, so each at level 1 − .05/9."""
    registry = read_registry(bundled.synthetic_registry() / "tidy")
    for name in ("snare", "net", "basket", "forceps", "cap_suction", "powered_debrider", "water_jet"):
        row = resolution_after_use(registry, instrument_class=name, level=1 - 0.05 / 9).frame.iloc[0]
        assert row["low"] < 1 < row["high"], name


def test_the_error_is_that_of_the_model_and_few_patients_have_a_note():
    ends = {"net": range(40, 67, 3), "snare": range(41, 77, 4)}
    courses = [_course_use_so_far({10: tool}, end=end) for tool, days in ends.items() for end in days]
    few, many = (resolution_after_use(registry_of(*rows), instrument_class="net") for rows in (courses, courses * 2))
    assert any(note.code == "SMALL_N" and note.text.startswith("Only 18 patients") for note in few.notes)
    assert not any(note.code == "SMALL_N" for note in many.notes)
    known = cox([*ends["net"], *ends["snare"]], np.ones(18), np.repeat([1, 0], 9))
    row = few.frame.iloc[0]
    assert np.log([row["low"], row["high"]]) == pytest.approx([known.low[0], known.high[0]])


def test_resolutions_all_on_one_side_are_tested_by_the_likelihood_ratio_and_named():
    """No Wald test where the ratio is infinite; the class is named, not "covariate 1"."""
    still = [
        Course(necrosectomies=[10], tools={10: ["snare"]}, scans=[(end, 60)], unwell_on=[end]) for end in range(70, 80)
    ]
    result = resolution_after_use(
        registry_of(*[_course_use_so_far({10: "net"}, end=end) for end in range(40, 48)], *still),
        instrument_class="net",
    )
    row = result.frame.iloc[0]
    known = cox([*range(40, 48), *[180] * 10], np.repeat([1, 0], [8, 10]), np.repeat([1, 0], [8, 10]))
    assert np.isinf(row["estimate"]) and row["test"] == "likelihood ratio test"
    assert (row["statistic"], row["p_value"]) == pytest.approx(
        (known.likelihood_ratio.statistic, known.likelihood_ratio.p_value)
    )
    [note] = [note for note in result.notes if note.code == "SEPARATION"]
    assert "one side of net:" in note.text


def _registry(*stents, courses=None):
    """One patient resolved on day 60 unless said otherwise, with these stents: (placed, removed, reason)."""
    courses = courses or [Course(scans=[(60, 10)], well_on=[60])]
    rows = [
        {
            "stent_id": f"S{place}",
            "patient_id": "P1",
            "collection_id": "P1C1",
            "stent_type": "lumen_apposing",
            "placed_day": placed,
            "removed_day": removed,
            "end_reason": reason,
        }
        for place, (placed, removed, reason) in enumerate(stents)
    ]
    registry = registry_of(*courses)
    return with_tables(registry, stents=rows) if rows else registry


def _days(result):
    return [tuple(row) for row in result.frame[["events", "n"]].to_numpy()]


@pytest.mark.parametrize(
    ("stents", "expected"),
    [
        ([(0, 20, "planned")], [(0, 20), (1, 40)]),
        ([(0, 60, "planned")], [(1, 60), (0, 0)]),
        ([(0, None, "in_place")], [(1, 60), (0, 0)]),
        ([(0, 20, "exchanged"), (20, 50, "migrated")], [(0, 50), (1, 10)]),
        ([(0, 30, "planned"), (10, 20, "planned"), (25, 40, "planned")], [(0, 40), (1, 20)]),
        ([(30, 90, "planned")], [(1, 30), (0, 30)]),
        ([(0, 20, "planned"), (70, 90, "planned")], [(0, 20), (1, 40)]),
    ],
)
def test_every_day_counts_where_the_patient_was_on_it(stents, expected):
    assert _days(resolution_by_stent(_registry(*stents))) == expected


def test_rates_are_per_100_days_with_exact_limits():
    """1 in 40 days: 2.5 per 100, 0.0633 to 13.9291 (Garwood, gamma quantiles)."""
    row = resolution_by_stent(_registry((0, 20, "planned"))).frame.iloc[1]
    assert (row["estimate"], row["low"], row["high"]) == pytest.approx((2.5, 0.06329, 13.92911), abs=5e-5)


def test_who_has_no_stent_on_record_or_one_of_unknown_end_is_left_out_and_counted():
    courses = [Course(scans=[(60, 10)], well_on=[60])] * 2
    result = resolution_by_stent(_registry((0, None, None), courses=courses))
    assert result.population.patients == 0
    assert dict(result.population.left_out) == {
        "patients without a transmural stent on record": 1,
        "patients with a stent whose removal is not recorded": 1,
    }


def test_a_stent_of_unknown_end_placed_after_the_course_leaves_nobody_out():
    assert _days(resolution_by_stent(_registry((0, 20, "planned"), (60, None, None)))) == [(0, 20), (1, 40)]


def test_it_is_described_as_no_effect_of_the_stent():
    result = resolution_by_stent(_registry((0, 20, "planned")))
    assert "is not an effect of the stent" in words(result)
    assert chart(result).alt


def test_nobody_gives_an_empty_answer_and_no_error_stent_days():
    result = resolution_by_stent(_registry((0, 20, "planned")).select([False]))
    assert _days(result) == [(0, 0), (0, 0)]
    assert result.frame["estimate"].isna().all()
