import numpy as np
import pytest

from builders.debridements import Session, registry_of
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures.credited_yields import debridements
from necrostats.measures.yield_models import (
    INTERCEPT,
    POOLED,
    WITHIN,
    Rows,
    adjustment_names,
    banded,
    covariates,
    exchanged_within,
    group_name,
    limits,
    yield_model,
)


def _one(name, *sessions, **collection):
    registry = registry_of(*sessions, **collection)
    return covariates(registry, debridements(registry), [name])[0]


@pytest.mark.parametrize(
    "name", ("clearance", "passes", "minutes_debridement", "stopped_early", "yield_low", "event_type")
)
def test_what_is_recorded_after_the_session_is_refused_as_an_adjustment(name):
    with pytest.raises(DesignError, match=f'"{name}".*recorded during or after the session'):
        adjustment_names((name,))


def test_a_name_that_is_not_known_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match='Did you mean "texture"'):
        adjustment_names(("textur",))
    with pytest.raises(DesignError, match="does not group yields"):
        group_name("clearance")


def test_names_may_be_one_text_or_those_of_the_columns_and_are_taken_once():
    assert adjustment_names("texture") == ("texture",)
    assert adjustment_names(("volume_ml", "volume", "session_number")) == ("volume", "session number")


def test_the_session_number_counts_from_the_first():
    found = _one("session number", Session(patient="P1", day=3), Session(patient="P1", day=9))
    assert found.columns.ravel().tolist() == [0.0, 1.0]


def test_volume_enters_by_its_logarithm_and_the_solid_share_by_tens():
    assert _one("volume", Session(patient="P1", day=3)).columns[0, 0] == pytest.approx(np.log(500))
    assert _one("solid fraction", Session(patient="P1", day=3)).columns[0, 0] == 4.0


@pytest.mark.parametrize(("scanned", "late"), [(8, 0), (9, 0), (10, 1)])
def test_a_baseline_scan_after_the_session_tells_nothing_about_it(scanned, late):
    """On the day before, on the day itself, on the day after."""
    found = _one("volume", Session(patient="P1", day=9), baseline_scan_day=scanned)
    assert found.later == late and bool(np.isnan(found.columns[0, 0])) == bool(late)


def test_a_factor_has_an_indicator_for_all_levels_but_the_commonest_and_nan_where_unknown():
    textures = ("soft", "soft", "tough", None)
    found = _one("texture", *(Session(patient="P1", day=d, texture=each) for d, each in enumerate(textures)))
    assert found.columns[:3].tolist() == [[0.0], [0.0], [1.0]] and found.known.tolist() == [True, True, True, False]


def test_a_factor_with_one_level_has_one_column_that_says_nothing():
    found = _one("texture", Session(patient="P1", day=3), Session(patient="P1", day=5))
    assert found.columns.tolist() == [[0.0], [0.0]]


@pytest.mark.parametrize(
    ("volume", "label"), [(249.0, "below 250 ml"), (250.0, "250–499 ml"), (1000.0, "1,000 ml and more")]
)
def test_bands_of_volume_begin_at_their_lower_end(volume, label):
    registry = registry_of(Session(patient="P1", day=3), volume=volume)
    codes, labels = banded(registry, debridements(registry), "volume")
    assert labels[codes[0]] == label


@pytest.mark.parametrize(
    ("solid", "label"), [(30.0, "up to 30 %"), (31.0, "31–60 %"), (60.0, "31–60 %"), (61.0, "above 60 %")]
)
def test_bands_of_the_solid_share_end_at_30_and_60(solid, label):
    registry = registry_of(Session(patient="P1", day=3), solid=solid)
    codes, labels = banded(registry, debridements(registry), "solid fraction")
    assert labels[codes[0]] == label


def test_the_fifth_session_and_later_ones_are_one_band():
    registry = registry_of(*(Session(patient="P1", day=each) for each in range(1, 8)))
    codes, labels = banded(registry, debridements(registry), "session number")
    assert [labels[code] for code in codes] == ["1", "2", "3", "4", *["5 and later"] * 3]


def test_operators_are_numbered_and_never_named():
    registry = registry_of(Session(patient="P1", day=3, about={"operator": "operator Q"}))
    assert banded(registry, debridements(registry), "operator")[1] == ("operator 1",)


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
