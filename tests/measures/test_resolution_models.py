"""Resolution modelled in two ways."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from builders.courses import Course, registry_of
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures import resolution_models
from necrostats.present import chart, table, words
from necrostats.stats.cox import cox
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
