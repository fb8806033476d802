from __future__ import annotations

import doctest
import warnings

import numpy as np
import pytest
from lifelines import AalenJohansenFitter, CoxPHFitter, CoxTimeVaryingFitter
from statsmodels.formula.api import gee, mixedlm

from builders.courses import Course, registry_of
from builders.debridements import Session, series
from builders.debridements import registry_of as registry_of_sessions
from necrostats import bundled, read_registry, session_frame, survival_frame
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures import adverse_event_rates, compare_resolution, compare_yield, time_to_resolution
from necrostats.registry.codebook import NECROSECTOMIES
from necrostats.registry.tables import registry_from


@pytest.fixture(scope="module")
def registry():
    return read_registry(bundled.synthetic_registry() / "tidy")


def resolved(day, **about):
    return Course(scans=[(day, 10.0)], well_on=[day], **about)


def test_a_row_says_how_a_course_ended_and_when():
    frame = survival_frame(registry_of(resolved(20), Course(died_on=9), Course(last_contact=50)))
    assert frame["patient_id"].tolist() == ["P1", "P2", "P3"]
    assert frame["duration"].tolist() == [20.0, 9.0, 50.0]
    assert frame["event"].tolist() == [1, 2, 0]
    assert frame["end"].tolist() == ["resolved", "death", "last seen unresolved"]
    assert frame["resolved"].tolist() == [1, 0, 0]
    assert set(frame["entry"]) == {-0.5} and set(frame["weight"]) == {1.0}


@pytest.mark.parametrize(("day", "kept"), [(27, 0), (28, 1), (29, 1)])
def test_from_a_landmark_on_who_ended_before_it_is_left_out_and_counted(day, kept):
    frame = survival_frame(registry_of(resolved(day)), landmark=28)
    assert len(frame) == kept
    assert frame.attrs["left_out"]["ended before 28"] == 1 - kept
    assert (frame["entry"] == 27.5).all()


def test_by_sessions_the_duration_is_the_number_of_necrosectomies():
    course = resolved(20, necrosectomies=[3, 8])
    assert survival_frame(registry_of(course), axis="sessions")["duration"].tolist() == [2.0]


def test_who_lacks_a_covariate_is_left_out_and_counted():
    frame = survival_frame(
        registry_of(resolved(9, about={"sex": "male", "age_years": 40}), resolved(9)), covariates=["sex", "age_years"]
    )
    assert frame["age_years"].tolist() == [40.0]
    assert list(frame["sex"].cat.categories) == ["male"]
    assert frame.attrs["left_out"]["without sex"] == 1


def test_nothing_known_only_later_is_a_covariate(registry):
    with pytest.raises(DesignError, match="known only later"):
        survival_frame(registry, covariates=["snare"])
    with pytest.raises(ChoiceError, match="infection"):
        session_frame(registry, covariates=["infektion"])
    with pytest.raises(ChoiceError, match="ml"):
        session_frame(registry, unit="litres")


def test_a_registry_without_scans_says_what_is_missing():
    with pytest.raises(DesignError, match="No scan"):
        survival_frame(registry_from({"patients": registry_of(resolved(9)).patients}))


def test_the_hazard_ratio_of_lifelines_on_it_is_ours(registry):
    frame = survival_frame(registry, by="infection")
    fit = CoxPHFitter().fit(
        frame, duration_col="duration", event_col="resolved", entry_col="entry", weights_col="weight", formula="group"
    )
    ours = compare_resolution(registry, by="infection").frame
    ours = ours[ours["measure"].str.startswith("hazard ratio")].set_index("group")["estimate"]
    for group in ("suspected", "none"):
        assert np.exp(fit.params_[f"group[T.{group}]"]) == pytest.approx(ours[group], rel=1e-4)


def test_the_incidence_of_lifelines_on_it_is_ours_but_for_moved_ties(registry):
    frame = survival_frame(registry)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it says that it moves tied days at random
        fit = AalenJohansenFitter(seed=1).fit(frame["duration"], frame["event"], event_of_interest=1)
    ours = time_to_resolution(registry).frame
    at_90 = ours[(ours["cause"] == "resolved") & (ours["days"] <= 90)]["estimate"].iloc[-1]
    theirs = fit.cumulative_density_.loc[:90.5].iloc[-1, 0]
    assert theirs == pytest.approx(at_90, abs=0.02)


def test_stretches_between_necrosectomies_cover_the_course_once():
    course = resolved(20, necrosectomies=[3, 8, 30])
    frame = session_frame(registry_of(course))
    assert frame["session_number"].tolist() == [1, 2, 3]
    assert frame["entry"].tolist() == [2.5, 7.5, 29.5]
    assert frame["duration"].tolist() == [7.5, 20.0, 200.0]
    assert frame["event"].tolist() == [0, 1, 0]
    assert frame["after_end"].tolist() == [False, False, True]
    assert frame["weight"].tolist() == [1 / 3] * 3


def test_two_necrosectomies_of_one_day_leave_no_stretch_empty():
    frame = session_frame(registry_of_sessions(Session(patient="P1", day=3), Session(patient="P1", day=3)))
    assert frame[["entry", "duration"]].to_numpy().tolist() == [[2.5, 2.75], [2.75, 180.0]]


def test_an_end_on_the_day_of_a_necrosectomy_falls_after_it():
    frame = session_frame(registry_of(resolved(8, necrosectomies=[8])))
    assert frame[["entry", "duration", "event"]].to_numpy().tolist() == [[7.5, 8.0, 1]]


def test_lifelines_takes_the_stretches_as_they_are(registry):
    frame = session_frame(registry)
    assert (frame["duration"] > frame["entry"]).all()
    frame = frame[~frame["after_end"]].assign(resolved=lambda rows: (rows["event"] == 1).astype(int))
    fit = CoxTimeVaryingFitter().fit(
        frame[["patient_id", "entry", "duration", "resolved", "session_number"]],
        id_col="patient_id",
        start_col="entry",
        stop_col="duration",
        event_col="resolved",
    )
    assert np.isfinite(fit.params_).all()


def test_statsmodels_mixed_model_of_exact_yields_on_it_is_ours():
    """restricted maximum likelihood, the same terms: the ratios and their standard errors agree."""
    registry = registry_of_sessions(*series(40))
    frame = session_frame(registry, only_yields=True)
    formula = "log_yield ~ C(session_number) + C(instrument, Treatment('snare'))"
    fit = mixedlm(formula, frame, groups=frame["patient_id"]).fit(reml=True)
    theirs = np.exp(fit.params["C(instrument, Treatment('snare'))[T.powered_debrider]"])
    ours = compare_yield(registry, reference="snare", primary="powered_debrider", adjust=("session number",)).frame
    ours = ours[ours["measure"] == "ratio of geometric means, adjusted"]["estimate"].iloc[0]
    assert theirs == pytest.approx(ours, rel=1e-4)


def test_only_exact_amounts_in_the_unit_have_a_logarithm():
    sessions = [
        Session(patient="P1", day=5, low=100.0),
        Session(patient="P1", day=9, low=0.0),
        Session(patient="P1", day=12, low=50.0, high=80.0),
        Session(patient="P1", day=15, low=50.0, unit="g"),
        Session(patient="P1", day=18, low=50.0, about={"yield_includes_lavage": True}),
    ]
    frame = session_frame(registry_of_sessions(*sessions))
    assert frame["log_yield"].notna().tolist() == [True, False, False, False, False]
    assert frame["log_yield"].iloc[0] == pytest.approx(np.log(100))


def test_several_classes_are_named_so_and_left_out_of_only_yields():
    sessions = [
        Session(patient="P1", day=5, uses=["net"]),
        Session(patient="P1", day=9, uses=["net", "snare"]),
        Session(patient="P1", day=12, uses=[]),
        Session(patient="P1", day=15, uses=["other"]),
    ]
    registry = registry_of_sessions(*sessions)
    assert session_frame(registry)["instrument"].tolist() == ["net", "several", "none recorded", "other"]
    assert session_frame(registry, only_yields=True)["instrument"].tolist() == ["net"]


def test_sessions_followed_by_an_event_are_those_of_the_rates(registry):
    frame = session_frame(registry)
    rates = adverse_event_rates(registry, by="session_type").frame
    rates = rates[(rates["unit"] == "sessions") & rates["group"].isin(NECROSECTOMIES)]
    rates = rates[rates["variable"] == "any adverse event"]
    assert frame["adverse_event"].sum() == rates["events"].sum()
    assert frame["adverse_event"].count() == rates["n"].sum()


def test_an_empty_registry_gives_empty_frames_with_all_columns():
    empty = registry_of()
    assert {"entry", "duration", "event", "group", "weight"} <= set(survival_frame(empty).columns)
    assert {"entry", "duration", "event", "group", "weight"} <= set(session_frame(empty).columns)


def test_statsmodels_takes_it_with_errors_clustered_by_patient(registry):
    frame = session_frame(registry).dropna(subset=["adverse_event"])
    share = gee("adverse_event ~ 1", "patient_id", frame).fit().params["Intercept"]
    assert 0 < share < 1


@pytest.mark.parametrize("function", [survival_frame, session_frame])
def test_the_examples_in_docstrings_are_true(function, registry):
    names = {"registry": registry, function.__name__: function}
    (examples,) = doctest.DocTestFinder(recurse=False).find(function, function.__name__, globs=names)
    ran = doctest.DocTestRunner().run(examples)
    assert ran.attempted and not ran.failed


def test_an_end_on_day_0_counts_in_lifelines_with_our_entry_and_is_refused_with_0():
    courses = [Course(died_on=0, about={"sex": "male"})]
    courses += [resolved(day, about={"sex": ("female", "male")[day % 2]}) for day in range(20, 31)]
    frame = survival_frame(registry_of(*courses), by="sex").assign(ended=lambda rows: (rows["event"] > 0).astype(int))
    given = {"duration_col": "duration", "event_col": "ended", "entry_col": "entry", "formula": "group"}
    assert frame["duration"].min() == 0
    assert CoxPHFitter().fit(frame, **given).event_observed.sum() == 12
    with pytest.raises(ValueError, match="entry >= duration"):
        CoxPHFitter().fit(frame.assign(entry=0.0), **given)
