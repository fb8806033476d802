from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from builders.courses import Course, registry_of
from necrostats.errors import ChoiceError
from necrostats.measures import (
    bootstrap_resolution,
    event_free_survival,
    follow_up,
    sessions_to_resolution,
    time_to_resolution,
)
from necrostats.measures.curves import entry_days, entry_notes, event_free, incidence, plateau_notes
from necrostats.measures.grouping import Grouping, one_group
from necrostats.present import table, words
from necrostats.stats.incidence import aalen_johansen, kaplan_meier, quantile


def _curve(time, cause, landmarks=(10,)):
    return incidence(
        time, cause, one_group(len(time)), ("resolved", "death"), axis="days", landmarks=landmarks, level=0.95
    )


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.lists(st.tuples(st.integers(0, 20), st.integers(0, 2)), min_size=1, max_size=40))
def test_counts_add_up_and_limits_hold_the_estimate(subjects):
    time, cause = (np.array(each) for each in zip(*subjects, strict=True))
    table = _curve(time, cause).table
    resolved = table[table["cause"] == "resolved"]
    assert table["events"].sum() + resolved["censored"].sum() == len(subjects)
    known = table.dropna(subset=["low", "high"])
    assert (known["low"] <= known["estimate"] + 1e-12).all()
    assert (known["estimate"] <= known["high"] + 1e-12).all()
    assert table["estimate"].dropna().between(0, 1).all()


def test_few_subjects_are_named_in_a_note():
    notes = _curve(np.array([3, 4]), np.array([1, 2])).notes
    assert {note.code for note in notes} == {"SMALL_N", "SMALL_RISK_SET", "MEDIAN_ON_PLATEAU"}
    assert "all (2)" in next(note.text for note in notes if note.code == "SMALL_N")


def test_a_landmark_has_a_row_for_each_cause():
    table = _curve(np.array([3, 12]), np.array([1, 2])).table
    assert table.loc[table["days"] == 10, "estimate"].tolist() == pytest.approx([0.5, 0.0])


NONE = float("nan")


def _median(time, cause=None):
    cause = np.ones(len(time), dtype=int) if cause is None else np.array(cause)
    medians = _curve(np.array(time), cause, landmarks=(90,)).medians
    return medians.iloc[0][["estimate", "low", "high"]].tolist()


@pytest.mark.parametrize(("n", "limits"), [(29, [50, 50]), (30, [NONE, NONE]), (31, [NONE, NONE])])
def test_when_everybody_resolves_on_one_day_there_are_limits_only_from_the_exact_band_below_thirty(n, limits):
    """R's survfit has no band where nobody is left (reference: at S = 0 undefined), so no limits from 30 on."""
    assert _median([50] * n) == pytest.approx([50, *limits], nan_ok=True)


def test_where_the_lower_edge_never_passes_one_half_before_all_have_resolved_the_upper_limit_is_open():
    """16 of 40 by day 50 is 40 %, up to 56.7 %; nobody is left on day 60, where R's survfit has no band."""
    assert _median([50] * 16 + [60] * 24) == pytest.approx([60, 50, NONE], nan_ok=True)


def test_the_limits_of_a_median_are_where_the_exact_band_shown_passes_one_half():
    """Of 12 with an end on days 1 to 12 the binomial limits first pass one half at 3 (57.2 %) and 10 (51.6 %)."""
    assert _median(range(1, 13)) == [6.5, 3, 10]


def test_an_exact_band_that_does_not_pass_one_half_gives_no_interval():
    estimate, *limits = _median([50] * 5)
    assert estimate == 50 and np.isnan(limits).all()


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.lists(st.tuples(st.integers(0, 20), st.integers(0, 2)), min_size=1, max_size=50))
def test_a_median_lies_between_its_limits(subjects):
    time, cause = zip(*subjects, strict=True)
    estimate, low, high = _median(time, cause)
    assert np.isnan(low) or np.isnan(estimate) or low <= estimate
    assert np.isnan(high) or estimate <= high
    assert not np.isnan(low) or np.isnan(high)


def test_none_has_the_exact_upper_limit_on_all_and_after_a_censoring_on_those_still_at_risk():
    """0 of 40: at most 8.81 % (1 − 0.025^(1/40)); one lost on day 20, 0 of 39: at most 9.03 % (1 − 0.025^(1/39))."""
    table = _curve(np.array([20, *[30] * 39]), np.array([0, *[1] * 39]), landmarks=(10, 25)).table
    deaths = table[table["cause"] == "death"].set_index("days")
    assert deaths.loc[[0, 10, 20], "high"].tolist() == pytest.approx([0.088097] * 3, abs=5e-7)
    assert deaths.loc[[25, 30], "high"].tolist() == pytest.approx([0.090251] * 2, abs=5e-7)
    assert (deaths["low"] == 0).all()


def test_on_the_day_of_the_first_censoring_a_share_of_none_still_rests_on_all():
    """One of 40 died on day 5, one lost on day 20: 0 of 40 on day 20 (8.81 %), 0 of 38 on day 21 (9.25 %)."""
    time, cause = np.array([5, 20, *[30] * 38]), np.array([2, 0, *[1] * 38])
    table = _curve(time, cause, landmarks=(20, 21)).table
    none = table[table["cause"] == "resolved"].set_index("days")
    assert none.loc[[20, 21], "high"].tolist() == pytest.approx([0.088097, 0.092513], abs=5e-7)


def test_all_have_the_exact_lower_limit_on_those_at_risk_when_the_last_had_it():
    """One of 40 lost on day 20, the other 39 resolved on day 30: 39 of 39, at least 90.97 % (0.025^(1/39))."""
    table = _curve(np.array([20, *[30] * 39]), np.array([0, *[1] * 39])).table
    last = table[table["cause"] == "resolved"].set_index("days").loc[30]
    assert last[["estimate", "low", "high"]].tolist() == pytest.approx([1, 0.909749, 1], abs=5e-7)


def test_a_median_not_reached_allows_for_short_follow_up():
    notes = {note.code: note.text for note in _curve(np.full(6, 5), np.zeros(6, dtype=int)).notes}
    assert "followed too short a time, or fewer than half resolved (all)" in notes["NOT_REACHED"]


def _texts(result):
    return [note.text for note in result.notes if note.code == "MEDIAN_ON_PLATEAU"]


def _resolved_on(*days, **more):
    return [Course(necrosectomies=[1], scans=[(day, 10)], well_on=[day], **more) for day in days]


def test_four_patients_resolved_on_days_10_20_30_and_40_have_a_median_of_25_and_any_day_from_20_to_30_fits():
    """Worked by hand: half are resolved from day 20 on, and more than half only from day 30 on."""
    result = time_to_resolution(registry_of(*_resolved_on(10, 20, 30, 40)))
    medians = result.medians[result.medians["cause"] == "resolved"]
    assert medians["estimate"].item() == 25
    [text] = _texts(result)
    assert "any day from 20 to 30 fits (all). The middle is shown." in text
    assert text in words(result)
    assert text in table(result).notes


def test_a_curve_that_steps_over_one_half_says_nothing():
    assert _texts(time_to_resolution(registry_of(*_resolved_on(10, 20, 30)))) == []


def test_only_groups_with_a_stretch_are_named():
    men = _resolved_on(10, 20, 30, 40, about={"sex": "male"})
    women = _resolved_on(10, 20, 30, about={"sex": "female"})
    [text] = _texts(time_to_resolution(registry_of(*men, *women), by="sex"))
    assert "any day from 20 to 30 fits (male)" in text
    assert "female" not in text


def test_a_number_of_sessions_is_the_first_that_half_reach_and_no_middle():
    courses = [Course(necrosectomies=[*range(1, k + 1)], scans=[(60, 10)], well_on=[60]) for k in (1, 2, 4, 5)]
    assert _texts(sessions_to_resolution(registry_of(*courses))) == []


def test_survival_and_follow_up_say_it_too():
    registry = registry_of(*[Course(last_contact=400, died_on=day) for day in (10, 20, 30, 40)])
    assert "any day from 20 to 30 fits" in _texts(event_free_survival(registry))[0]
    followed = registry_of(*[Course(last_contact=day) for day in (10, 20, 30, 40)])
    assert follow_up(followed).frame["estimate"].item() == 25
    assert "any day from 20 to 30 fits" in _texts(follow_up(followed))[0]


def test_a_bootstrap_says_it_beside_the_median_by_formula():
    result = bootstrap_resolution(registry_of(*_resolved_on(10, 20, 30, 40)), replicates=10)
    assert "any day from 20 to 30 fits (all)" in _texts(result)[0]


@pytest.mark.parametrize("fit", [kaplan_meier, aalen_johansen])
def test_a_stretch_to_the_end_of_follow_up_ends_with_it_and_an_unreached_median_has_none(fit):
    level = quantile(fit([2, 8], [1, 0]))
    assert "any day from 2 to 8 fits (x)" in plateau_notes(level, ["x"])[0].text
    never = quantile(fit([2, 8, 9], [1, 0, 0]))
    assert np.isnan(never.stretch.first).all() and np.isnan(never.stretch.last).all()
    assert plateau_notes(never, ["x"]) == ()


def _resolved(day):
    return Course(scans=[(day, 10)], well_on=[day])


def _resolution_at(result, day):
    table = result.frame
    return table[(table["days"] == day) & (table["cause"] == "resolved")].iloc[0]


def test_a_referred_patient_is_at_risk_only_from_the_day_after_being_seen():
    """By hand: on day 20 P1 and P3 are at risk, P2 not yet, so 1/2; on day 50 P2 and P3, so 1/2 + 1/2 · 1/2."""
    registry = registry_of(_resolved(20), _resolved(50), Course(last_contact=100))
    result = time_to_resolution(registry, seen_from={"P2": 30}, days=(20, 50))
    assert _resolution_at(result, 20)["at_risk"] == 2
    assert _resolution_at(result, 20)["estimate"] == pytest.approx(1 / 2)
    assert _resolution_at(result, 50)["at_risk"] == 2
    assert _resolution_at(result, 50)["estimate"] == pytest.approx(1 / 2 + 1 / 2 * 1 / 2)
    assert "LEFT_TRUNCATION" in {note.code for note in result.notes}


def test_a_course_that_ended_before_the_patient_was_seen_is_left_out_and_counted():
    result = time_to_resolution(registry_of(_resolved(20), _resolved(50)), seen_from={"p1": 30})
    assert result.population.patients == 1
    assert result.population.left_out["patients whose course had ended before they were seen here"] == 1


def test_nobody_referred_changes_nothing():
    registry = registry_of(_resolved(20), Course(died_on=40), Course(last_contact=60))
    plain, named = time_to_resolution(registry), time_to_resolution(registry, seen_from={"P1": 0})
    assert plain.frame.equals(named.frame)
    assert entry_notes(np.zeros(3, dtype=np.int64)) == ()


def test_a_patient_that_is_not_there_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match="P1"):
        entry_days(registry_of(Course()), {"P9": 3})


NAME = "free of x"


def _curve_event_free(time, event, groups=None, landmarks=(10,)):
    groups = groups or one_group(len(time))
    return event_free(np.array(time), np.array(event), groups, NAME, axis="days", landmarks=landmarks, level=0.95)


def test_the_product_limit_worked_by_hand():
    """Events at 2 (of 5) and 4 (of 3), one censored at 3: 4/5, then 4/5 × 2/3."""
    table = _curve_event_free([2, 3, 4, 12, 12], [1, 0, 1, 0, 0]).table.set_index("days")
    assert table["estimate"].loc[[0, 2, 3, 4, 10]].tolist() == pytest.approx([1, 0.8, 0.8, 8 / 15, 8 / 15])
    assert table["at_risk"].loc[[0, 2, 4, 10]].tolist() == [5, 5, 3, 2]


def test_nothing_is_known_after_the_last_contact():
    table = _curve_event_free([2, 5], [1, 0]).table.set_index("days")
    assert np.isnan(table["estimate"].loc[10])


def test_when_nobody_is_left_the_share_is_0_from_there_on():
    assert _curve_event_free([2, 5], [1, 1]).table.set_index("days")["estimate"].loc[10] == 0


def test_with_nobody_censored_and_few_the_limits_are_clopper_pearson():
    """9 of 10 free at day 2: 55.50 % to 99.75 % (Clopper–Pearson, beta quantiles)."""
    row = _curve_event_free([2, *range(3, 12)], [1] * 10).table.set_index("days").loc[2]
    assert (row["low"], row["high"]) == pytest.approx((0.554984, 0.997471), abs=5e-7)


def test_the_median_is_the_middle_of_a_stretch_at_one_half():
    assert _curve_event_free([2, 4, 9, 9], [1, 1, 1, 1]).medians["estimate"].item() == 6.5


def test_a_median_not_reached_is_said():
    codes = {note.code: note.text for note in _curve_event_free([2, 20, 20, 20], [1, 0, 0, 0]).notes}
    assert "more than half were still free of x while followed (all)" in codes["NOT_REACHED"]


def test_groups_with_nobody_stay_and_rows_without_a_group_do_not_count():
    groups = Grouping(labels=("a", "b"), codes=np.array([0, 0, -1]))
    table = _curve_event_free([2, 20, 1], [1, 0, 1], groups).table
    assert table.loc[table["group"] == "a", "at_risk"].max() == 2
    assert table.loc[table["group"] == "b", "estimate"].isna().all()


def test_all_still_free_have_an_exact_lower_limit_on_those_still_at_risk():
    """40 of 40: at least 91.19 % (0.025^(1/40)); one lost on day 20, 39 of 39: at least 90.97 % (0.025^(1/39))."""
    table = _curve_event_free([20, *[30] * 39], [0, *[1] * 39], landmarks=(10, 25)).table.set_index("days")
    assert table.loc[10, ["low", "high"]].tolist() == pytest.approx([0.911903, 1.0], abs=5e-7)
    assert table.loc[25, ["low", "high"]].tolist() == pytest.approx([0.909749, 1.0], abs=5e-7)


def test_where_nobody_is_left_free_the_upper_limit_of_the_median_is_open():
    medians = _curve_event_free([50] * 16 + [60] * 24, [1] * 40).medians
    assert medians[["estimate", "low", "high"]].iloc[0].tolist() == pytest.approx([60, 50, NONE], nan_ok=True)
