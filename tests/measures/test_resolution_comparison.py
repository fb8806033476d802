from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from builders.courses import Course, registry_of
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures import compare_resolution
from necrostats.present import chart, table, words
from necrostats.stats.cox import cox
from necrostats.stats.curve_tests import gray_test

INCIDENCE, MEAN = "difference in incidence by day 90", "difference in mean days resolved up to day 180"


def _resolved(day, sex, sessions=0, **about):
    done = [5 + 2 * number for number in range(sessions)]
    return Course(necrosectomies=done, scans=[(day - 1, 80), (day, 10)], well_on=[day], about={"sex": sex, **about})


def _group(sex, days, *others):
    return [*(_resolved(day, sex) for day in days), *(Course(**other, about={"sex": sex}) for other in others)]


def _women():
    return _group("female", range(20, 120, 10), {"died_on": 50}, {"last_contact": 65})


def _men():
    return _group("male", range(40, 180, 14), {"surgery_on": 30}, {"last_contact": 180})


def _row(result, measure, **where):
    table = result.frame[result.frame["measure"] == measure]
    for name, value in where.items():
        table = table[table[name] == value]
    assert len(table) == 1
    return table.iloc[0]


def test_the_differences_of_complete_groups_are_those_of_plain_shares_and_means():
    """Women resolved on days 20 … 110 (8 of 10 by day 90), men on days 60 … 150 (4 of 10): 40 points, 40 days."""
    result = compare_resolution(
        registry_of(*_group("female", range(20, 120, 10)), *_group("male", range(60, 160, 10))),
        by="sex",
        reference="male",
    )
    row = _row(result, INCIDENCE)
    welch = stats.ttest_ind([1] * 8 + [0] * 2, [1] * 4 + [0] * 6, equal_var=False)
    assert row["estimate"] == pytest.approx(0.4)
    assert (row["low"], row["high"]) == pytest.approx(tuple(welch.confidence_interval()))
    assert row["p_value"] == pytest.approx(welch.pvalue)
    days = _row(result, MEAN)
    error = np.sqrt(2 * np.var(np.arange(0, 100, 10), ddof=1) / 10)
    assert days["estimate"] == pytest.approx(40)
    assert days["statistic"] == pytest.approx(40 / error)
    assert (row["events"], row["n"], row["events_ref"], row["n_ref"]) == (10, 10, 10, 10)


def test_every_row_names_its_measure_and_its_test_and_both_groups():
    result = compare_resolution(registry_of(*_women(), *_men()), by="sex")
    assert list(result.frame["measure"].cat.categories) == [
        INCIDENCE,
        MEAN,
        "hazard ratio of resolution",
        "Gray's test of the incidence of resolution",
        "log-rank test of survival free of death and surgery",
    ]
    assert (result.frame["group"] == "male").all() and (result.frame["reference"] == "female").all()
    assert list(result.frame["test"]) == [
        "Welch's t test",
        "Welch's t test",
        "Wald test",
        "Gray's test, χ² on 1 degree of freedom",
        "log-rank test, χ² on 1 degree of freedom",
    ]


def test_the_hazard_ratio_and_the_tests_are_those_of_the_estimators():
    result = compare_resolution(registry_of(*_women(), *_men()), by="sex")
    time = np.array([*range(20, 120, 10), 50, 65, *range(40, 180, 14), 30, 180])
    cause = np.array([1] * 10 + [2, 0] + [1] * 10 + [3, 0])
    male = np.repeat([0.0, 1.0], 12)
    fit = cox(time, cause == 1, male)
    assert _row(result, "hazard ratio of resolution")["estimate"] == pytest.approx(np.exp(fit.coefficient[0]))
    test = gray_test(time, cause, group=male)
    assert _row(result, "Gray's test of the incidence of resolution")["p_value"] == pytest.approx(test.p_value)


def test_the_log_rank_test_follows_patients_beyond_resolution():
    """A woman resolved on day 20 who dies on day 90 counts as a death of the log-rank test, not of the incidence."""
    late_death = Course(scans=[(20, 10)], well_on=[20], died_on=90, about={"sex": "female"})
    with_death = compare_resolution(registry_of(late_death, *_women(), *_men()), by="sex")
    without = compare_resolution(registry_of(_resolved(20, "female"), *_women(), *_men()), by="sex")
    name = "log-rank test of survival free of death and surgery"
    assert _row(with_death, INCIDENCE)["estimate"] == _row(without, INCIDENCE)["estimate"]
    assert _row(with_death, name)["statistic"] != pytest.approx(_row(without, name)["statistic"])


def test_three_groups_are_tested_at_once_and_p_values_of_contrasts_are_adjusted():
    more = [Course(scans=[(day, 10)], well_on=[day], about={"sex": "other"}) for day in range(25, 150, 12)]
    result = compare_resolution(registry_of(*_women(), *_men(), *more), by="sex")
    gray = _row(result, "Gray's test of the incidence of resolution")
    assert (gray["group"], gray["reference"]) == ("all groups", "each other")
    assert gray["test"].endswith("χ² on 2 degrees of freedom")
    pair = result.frame[result.frame["measure"] == INCIDENCE]
    smaller = pair["p_unadjusted"].min()
    assert pair["p_value"].min() == pytest.approx(min(1.0, 2 * smaller))
    assert "MULTIPLICITY" in {note.code for note in result.notes}


def test_strata_stratify_the_tests_and_the_hazard_ratio_only():
    courses = [*_women(), *_men()]
    for number, course in enumerate(courses):
        course.about["infection"] = ("confirmed", "none")[number % 2]
    registry = registry_of(*courses, _resolved(33, "male"))
    plain = compare_resolution(registry_of(*courses), by="sex")
    stratified = compare_resolution(registry, by="sex", strata="infection")
    assert stratified.population.left_out["patients without a stratum"] == 1
    assert _row(stratified, INCIDENCE)["estimate"] == _row(plain, INCIDENCE)["estimate"]
    ratio = "hazard ratio of resolution"
    assert _row(stratified, ratio)["estimate"] != pytest.approx(_row(plain, ratio)["estimate"])
    assert "stratified" in _row(stratified, "Gray's test of the incidence of resolution")["test"]


def test_hazards_that_cross_are_said_to_change():
    early = _group("female", [*range(10, 30), *range(100, 180, 4)])
    late = _group("male", [*range(45, 85)])
    result = compare_resolution(registry_of(*early, *late), by="sex")
    assert "NON_PROPORTIONAL" in {note.code for note in result.notes}
    assert "hazard ratios stay the same over time" in result.method.estimator


def test_too_few_resolutions_give_no_hazard_ratio_and_say_so():
    some = [Course(last_contact=100, about={"sex": sex}) for sex in ("female", "male") * 10]
    result = compare_resolution(registry_of(*_group("female", [20, 30]), *_group("male", [40, 50]), *some), by="sex")
    assert np.isnan(_row(result, "hazard ratio of resolution")["estimate"])
    assert any("4 events for 1 coefficients" in note.text for note in result.notes)
    assert np.isfinite(_row(result, INCIDENCE)["estimate"])


def test_a_group_of_four_is_not_compared_and_one_of_seven_gets_no_model():
    few = compare_resolution(registry_of(*_women(), *_group("male", [40, 50, 60, 70])), by="sex")
    assert few.frame.empty and any("nothing is compared" in note.text for note in few.notes)
    seven = compare_resolution(registry_of(*_women(), *_group("male", range(40, 110, 10))), by="sex")
    assert "hazard ratio of resolution" not in set(seven.frame["measure"])
    assert any("no hazard ratio: male (7)" in note.text for note in seven.notes)


@pytest.mark.parametrize("courses", [[], [_resolved(20, "male")], [Course(about={"sex": "male"})] * 8])
@pytest.mark.parametrize("axis", ["days", "sessions"])
def test_nobody_one_patient_and_everyone_censored_give_an_answer_and_a_note(courses, axis):
    result = compare_resolution(
        registry_of(*courses) if courses else registry_of(_resolved(9, None)), by="sex", axis=axis
    )
    assert result.frame.empty and "SMALL_N" in {note.code for note in result.notes}
    assert words(result).startswith("There is nothing to compare.")
    assert chart(result).data.empty and table(result).frame.empty


def test_no_resolution_at_all_in_either_group_gives_a_difference_of_nothing_and_a_note():
    courses = [Course(last_contact=190, about={"sex": sex}) for sex in ("female", "male") * 6]
    result = compare_resolution(registry_of(*courses), by="sex")
    assert _row(result, INCIDENCE)["estimate"] == 0 and np.isnan(_row(result, INCIDENCE)["low"])
    assert "ZERO_EVENTS" in {note.code for note in result.notes}
    assert chart(result).alt and words(result)


def test_all_resolved_in_one_group_before_any_of_the_other_has_no_finite_ratio_but_a_test():
    courses = [*_group("female", [20] * 12), *[Course(last_contact=180, about={"sex": "male"}) for _ in range(12)]]
    result = compare_resolution(registry_of(*courses), by="sex", reference="male")
    row = _row(result, "hazard ratio of resolution")
    assert np.isinf(row["estimate"]) and row["p_value"] < 0.001 and row["test"] == "likelihood ratio test"
    assert any(note.code == "SEPARATION" and "female" in note.text for note in result.notes)
    assert "not estimable" in words(result)


def test_by_sessions_the_hazard_ratio_is_that_of_the_person_session_model():
    courses = [_resolved(40, "female", sessions=number % 3) for number in range(12)]
    courses += [_resolved(60, "male", sessions=1 + number % 4) for number in range(12)]
    result = compare_resolution(registry_of(*courses), by="sex", axis="sessions", at=2, tau=5)
    assert _row(result, "difference in incidence within 2 sessions")["estimate"] == pytest.approx(6 / 12 - 1)
    mean = _row(result, "difference in mean sessions spared by resolution, of the first 5")
    assert mean["estimate"] == pytest.approx(1 - 2.5)
    assert 0 < _row(result, "hazard ratio of resolution, per session")["estimate"] < 1
    assert not any("log-rank" in measure for measure in result.frame["measure"])


@pytest.mark.parametrize("later", ["instrument_class", "ever_snare", "vital_status"])
def test_groups_and_strata_known_only_later_are_refused(later):
    registry = registry_of(*_women(), *_men())
    with pytest.raises(DesignError, match="immortal time"):
        compare_resolution(registry, by=later)
    with pytest.raises(DesignError, match="immortal time"):
        compare_resolution(registry, by="sex", strata=later)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"axis": "weeks"}, "not a known axis"),
        ({"reference": "femal"}, 'Did you mean "female"'),
        ({"at": -1}, "at is -1"),
        ({"tau": 0}, "tau is 0"),
    ],
)
def test_a_choice_off_its_list_is_answered_with_what_to_do(wrong, said):
    with pytest.raises(ChoiceError, match=said):
        compare_resolution(registry_of(*_women(), *_men()), by="sex", **wrong)


def test_what_is_shown_names_tests_and_counts():
    result = compare_resolution(registry_of(*_women(), *_men()), by="sex")
    assert "10 of 12 v 10 of 12 patients" in words(result)
    assert "Gray's test, χ² on 1 degree of freedom" in words(result)
    frame = table(result).frame
    assert frame.loc[3, "Estimate (95 % CI)"].startswith("statistic ")


def test_notes_are_about_resolution_and_not_about_deaths_that_nobody_had():
    result = compare_resolution(
        registry_of(*_group("female", range(20, 120, 10)), *_group("male", range(60, 160, 10))), by="sex"
    )
    assert result.frame["low"].notna().sum() == 3
    assert not any("vary within" in note.text for note in result.notes)


def test_a_group_of_which_nobody_resolved_has_a_difference_without_limits():
    """0 of 5 against 10 of 20: Fisher's p is .06, the other group's error alone would give .0003."""
    women = _group("female", [], *[{"last_contact": 300}] * 5)
    men = _group("male", range(40, 50), *[{"last_contact": 300}] * 10)
    result = compare_resolution(registry_of(*women, *men), by="sex")
    row = _row(result, INCIDENCE)
    assert row["estimate"] == pytest.approx(0.5) and np.isnan([row["low"], row["p_value"]]).all()
    assert any("within group female," in note.text for note in result.notes)
    assert chart(result).alt and words(result) and len(table(result).frame)
