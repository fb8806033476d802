"""Resolution modelled in two ways."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from builders.courses import Course, registry_of
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures import resolution_models, session_regression
from necrostats.present import chart, table, words
from necrostats.stats.cox import cox
from necrostats.stats.discrete_hazard import discrete_hazard
from necrostats.stats.subdistribution import fine_gray


def courses(n=40):
    rng = np.random.default_rng(7)
    for place in range(n):
        sex, day = ("female", "male")[place % 2], int(rng.integers(10, 90))
        if place % 5 == 0:
            yield Course(died_on=day, about={"sex": sex})
        else:
            yield Course(scans=[(day + 20 * (place % 2), 10)], well_on=[day + 20 * (place % 2)], about={"sex": sex})


def test_both_models_are_those_of_the_estimators():
    result = resolution_models(registry_of(*courses()), covariates=["sex"])
    made = list(courses())
    time = np.array([each.died_on or each.scans[0][0] for each in made])
    cause = np.array([2 if each.died_on else 1 for each in made])
    x = np.arange(40) % 2 * 1.0
    fits = cox(time, cause == 1, x), fine_gray(time, cause, x)
    assert result.frame["measure"].tolist() == ["cause-specific hazard ratio", "subdistribution hazard ratio"]
    assert_allclose(result.frame["estimate"], [np.exp(fit.coefficient[0]) for fit in fits], rtol=1e-9)
    assert_allclose(result.frame["low"], [np.exp(fit.low[0]) for fit in fits], rtol=1e-9)


def test_it_says_which_answers_what_and_is_presented_like_any_comparison():
    result = resolution_models(registry_of(*courses()), covariates="sex")
    assert "for what to expect" in words(result)
    assert len(table(result).frame) == 2 and chart(result).alt


@pytest.mark.parametrize("n", [0, 1, 4, 9])
def test_few_patients_have_no_model_and_a_note(n):
    result = resolution_models(registry_of(*courses(n)), covariates=["sex"])
    assert result.notes and result.frame["estimate"].isna().all()
    assert words(result)


def test_nobody_resolved_is_said():
    nobody = [Course(scans=[(40, 90)], about={"sex": ("female", "male")[place % 2]}) for place in range(12)]
    assert "Nobody in the model was resolved" in words(resolution_models(registry_of(*nobody), covariates=["sex"]))


def test_what_is_known_only_later_and_what_is_on_no_list_are_refused():
    with pytest.raises(DesignError):
        resolution_models(registry_of(*courses()), covariates=["death_cause"])
    with pytest.raises(ChoiceError):
        resolution_models(registry_of(*courses()), covariates=[])


SESSIONS = (0, 1, 1, 2, 2, 3, 4, 5)


def _resolved(sessions, **about):
    done = [2 + 2 * number for number in range(sessions)]
    return Course(necrosectomies=done, scans=[(40, 10)], well_on=[40], about=about)


def _two(slower=1):
    return [
        _resolved(number + more * slower, sex=sex, infection=("confirmed", "none")[place % 2])
        for more, sex in enumerate(("female", "male"))
        for place, number in enumerate(SESSIONS * 2)
    ]


def test_with_one_session_number_the_odds_ratio_is_that_of_the_two_by_two_table():
    """After no session: 12 of 20 women and 6 of 20 men resolved, the others operated on: odds ratio (6/14) / (12/8)."""

    def lost(sex):
        return Course(surgery_on=9, scans=[(5, 80)], about={"sex": sex})

    courses = [
        *[_resolved(0, sex="female")] * 12,
        *[lost("female")] * 8,
        *[_resolved(0, sex="male")] * 6,
        *[lost("male")] * 14,
    ]
    row = session_regression(registry_of(*courses), covariates="sex", link="logit").frame.iloc[0]
    assert row["estimate"] == pytest.approx(6 / 14 / (12 / 8), rel=1e-6)
    spread = np.exp(1.959964 * np.sqrt(1 / 12 + 1 / 8 + 1 / 6 + 1 / 14))
    assert row["high"] / row["estimate"] == pytest.approx(spread, rel=1e-5)
    assert (row["events"], row["n"], row["events_ref"], row["n_ref"]) == (6, 20, 12, 20)


def test_the_ratios_of_several_covariates_are_those_of_the_estimator():
    result = session_regression(registry_of(*_two()), covariates=("sex", "infection"))
    sessions = np.array([*SESSIONS * 2, *(number + 1 for number in SESSIONS * 2)])
    male, none = np.repeat([0, 1], 16), np.tile([0, 1], 16)
    fit = discrete_hazard(sessions, np.ones(32), np.stack([male, none], axis=1), first=0, cap=8)
    assert result.frame["estimate"].tolist() == pytest.approx(np.exp(fit.coefficient).tolist())
    assert result.frame["variable"].tolist() == ["sex", "infection"]
    assert result.frame["estimate"].iloc[0] < 1
    assert "MULTIPLICITY" in {note.code for note in result.notes}


def test_who_has_no_value_or_a_rare_level_is_left_out_and_counted():
    courses = [*_two(), _resolved(1, sex="female"), *[_resolved(1, sex="other", infection="none")] * 3]
    result = session_regression(registry_of(*courses), covariates=("sex", "infection"))
    assert result.population.patients == 32
    assert result.population.left_out == {
        "patients without a value of every covariate": 1,
        "patients in levels of fewer than 5": 3,
    }
    assert any("sex other (3)" in note.text for note in result.notes)
    assert set(result.frame["group"]) == {"male", "none"}


def test_too_few_resolutions_for_the_coefficients_give_no_model_and_say_so():
    unresolved = [
        Course(necrosectomies=[3], scans=[(9, 80)], last_contact=20, about={"sex": sex})
        for sex in ("female", "male") * 8
    ]
    courses = [*unresolved, *[_resolved(1, sex="female")] * 2, *[_resolved(1, sex="male")] * 2]
    result = session_regression(registry_of(*courses), covariates="sex")
    assert np.isnan(result.frame["estimate"]).all()
    assert any(note.text.startswith("4 events for 1 covariates") for note in result.notes)


def test_a_level_that_always_or_never_resolves_is_named():
    lost = [Course(necrosectomies=[3], surgery_on=9, scans=[(5, 80)], about={"sex": "male"})] * 12
    stay = [Course(necrosectomies=[3], surgery_on=9, scans=[(5, 80)], about={"sex": "female"})] * 6
    result = session_regression(registry_of(*lost, *stay, *[_resolved(1, sex="female")] * 8), covariates="sex")
    assert np.isnan(result.frame["low"]).all()
    assert any(note.code == "SEPARATION" and "sex male" in note.text for note in result.notes)
    assert chart(result).alt and words(result)


@pytest.mark.parametrize("courses", [[_resolved(1, sex="male")], [_resolved(1, sex="male")] * 12, [Course()] * 12])
def test_one_patient_one_level_and_nobody_with_a_value_give_an_answer_and_a_note(courses):
    result = session_regression(registry_of(*courses), covariates=("sex",))
    assert result.frame.empty and "NO_OVERLAP" in {note.code for note in result.notes}
    assert chart(result).data.empty and words(result) and table(result).frame.empty


def test_only_what_was_known_at_the_index_drainage_can_be_a_covariate():
    registry = registry_of(*_two())
    with pytest.raises(DesignError, match="immortal time"):
        session_regression(registry, covariates=("sex", "texture_ever"))
    with pytest.raises(ChoiceError, match='Did you mean "sex"'):
        session_regression(registry, covariates=("sexx",))
    with pytest.raises(ChoiceError, match="covariates is empty"):
        session_regression(registry, covariates=())
    with pytest.raises(ChoiceError, match="cloglog, logit"):
        session_regression(registry, covariates="sex", link="probit")
