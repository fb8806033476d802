import numpy as np
import pytest

from necrostats.measures.yield_models import (
    INTERCEPT,
    POOLED,
    WITHIN,
    Rows,
    exchanged_within,
    limits,
    yield_model,
)


def _rows(seed=0, n=90, patients=30, effect=0.5, patient_effect=0.0, **more):
    """Two classes; with `patient_effect` the class in question goes to patients who yield more."""
    rng = np.random.default_rng(seed)
    patient = np.repeat(np.arange(patients), n // patients)
    level = rng.normal(0, 0.5, patients)
    one = (rng.random(n) < np.where(level[patient] > 0, 0.5 + patient_effect, 0.5 - patient_effect)).astype(float)
    covariate = rng.normal(size=n)
    y = 5 + effect * one - 0.3 * covariate + level[patient] + 0.2 * rng.normal(size=n)
    given = {"low": y, "high": y, "classes": one[:, None], "covariates": covariate[:, None], "patient": patient}
    return Rows(**(given | more))


def test_patients_as_their_own_controls_give_the_fixed_effects_estimate():
    """Least squares with an indicator for each patient, all rows exact (Mundlak 1978)."""
    rows = _rows()
    dummies = (rows.patient[:, None] == np.arange(30)).astype(float)
    expected = np.linalg.lstsq(np.column_stack([rows.classes, rows.covariates, dummies]), rows.low)[0][0]
    assert yield_model(rows, WITHIN, 0.95).against(0).estimate == pytest.approx(expected, abs=1e-6)


def test_the_pooled_model_is_the_difference_of_means():
    rows = _rows()
    one = rows.classes[:, 0] == 1
    found = yield_model(rows, POOLED, 0.95).against(0)
    assert found.estimate == pytest.approx(rows.low[one].mean() - rows.low[~one].mean(), abs=1e-8)


def test_within_patients_takes_out_what_differs_between_them():
    rows = _rows(seed=2, n=900, patients=300, patient_effect=0.35)
    crude, within = (yield_model(rows, kind, 0.95).against(0) for kind in (POOLED, WITHIN))
    assert crude.low > 0.5 and within.low < 0.5 < within.high


def test_a_class_that_follows_from_a_covariate_cannot_be_estimated():
    rows = _rows()
    tied = Rows(**(rows.__dict__ | {"covariates": rows.classes}))
    assert np.isnan(yield_model(tied, INTERCEPT, 0.95).against(0).estimate)


def test_fewer_than_five_rows_a_term_are_not_fitted():
    """A constant, a class and a covariate are three terms: 15 rows are enough, 14 are not."""
    rows = _rows(n=30, patients=15)
    first = {name: each[:15] for name, each in rows.__dict__.items() if name != "divided"}
    assert not yield_model(Rows(**first), INTERCEPT, 0.95).notes
    fewer = {name: each[:14] for name, each in rows.__dict__.items() if name != "divided"}
    assert yield_model(Rows(**fewer), INTERCEPT, 0.95).notes[0].text.startswith("14 yields for a model of 3 terms")


def test_limits_are_those_of_t():
    found = limits(1.0, 0.5, 10.0, 0.95)
    assert found.high == pytest.approx(1 + 2.228139 * 0.5, abs=1e-6) and found.statistic == 2.0
    assert np.isnan(limits(1.0, 0.0, 10.0, 0.95).low) and np.isnan(limits(1.0, np.nan, 10.0, 0.95).p_value)


def test_exchanging_labels_within_patients_finds_an_effect_and_not_one_that_a_covariate_explains():
    assert exchanged_within(_rows(effect=0.5)).p_value < 0.001
    assert exchanged_within(_rows(effect=0.0)).p_value > 0.05
    rows = _rows(effect=0.0)
    tied = Rows(
        **(
            rows.__dict__
            | {
                "covariates": np.column_stack([rows.covariates, rows.classes]),
                "low": rows.low + 9 * rows.classes[:, 0],
                "high": rows.high + 9 * rows.classes[:, 0],
            }
        )
    )
    assert exchanged_within(tied).p_value > 0.05
