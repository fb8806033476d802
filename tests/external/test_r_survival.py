"""Kaplan–Meier and Aalen–Johansen against R 4.2.2 (survival 3.5-3, cmprsk 2.2-11, prodlim, etm).

Values were read from R's output; each entry of data/r_survival.json gives its call. Closed forms: 1e-9.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from builders.outside_values import data, numbers, values
from necrostats.stats.event_tables import event_table
from necrostats.stats.incidence import aalen_johansen, aalen_johansen_of, at, kaplan_meier, kaplan_meier_of, quantile

R = values("r_survival")
CLOSE = {"rtol": 1e-9, "atol": 1e-9}
TRANSFORMS = ("log-log", "log", "plain", "logit", "arcsin")


def _lung():
    lung = data("lung")
    return lung.time, lung.status == 2, lung.sex


def _veteran(treatment):
    chosen = data("veteran").query(f"trt == {treatment}")
    return chosen.time, chosen.status


def _patients(cause=None):
    patients = data("sim_patients")
    return patients.days, patients.status > 0 if cause is None else patients.status == cause


def _sex(sex):
    time, died, whose = _lung()
    return time[whose == sex], died[whose == sex]


SERIES = {
    "lung": lambda: _lung()[:2],
    "lung_male": lambda: _sex(1),
    "lung_female": lambda: _sex(2),
    "veteran_trt1": lambda: _veteran(1),
    "veteran_trt2": lambda: _veteran(2),
    "sim_pat_any_failure_free": _patients,
    "sim_pat_resolution_causespec": lambda: _patients(1),
    "sim_pat_reverseKM_followup": lambda: _patients(0),
    "tiny8": lambda: (data("tiny8").days, data("tiny8").status > 0),
    "all_events_last": lambda: ([1, 2, 3, 4, 5], [1] * 5),
    "all_censored": lambda: ([3, 5, 8], [0] * 3),
    "single_event": lambda: ([4], [1]),
    "even_median_flat": lambda: ([1, 2, 3, 4], [1] * 4),
}


def test_every_kaplan_meier_entry_belongs_to_a_check_below():
    kinds = {tuple(name.split(".")) for name in R if name.startswith("km.")}
    listed = {("km", series, scale, what) for series in SERIES for scale in TRANSFORMS for what in ("at", "quantiles")}
    listed |= {("km", series, "full_curve") for series in ("lung", "tiny8", "sim_pat_any_failure_free")}
    listed |= {("km", *rest) for rest in (("delayed_entry",), ("lung", "weights123"))}
    listed |= {("km", "collections", "naive"), ("km", "collections", "cluster_robust")}
    assert kinds == listed


def _check_survival(found, expected, row=0):
    height, low, high = (numbers(expected[name]) for name in ("surv", "lower", "upper"))
    assert_allclose(found.at_risk[row], numbers(expected["n_risk"]))
    assert_allclose(found.estimate[row], height, **CLOSE)
    assert_allclose(found.std_error[row], numbers(expected.get("std_err", expected.get("std_err_surv"))), **CLOSE)
    at_one = height == 1
    assert_allclose(found.low[row], np.where(at_one, 1.0, low), **CLOSE)
    assert_allclose(found.high[row], np.where(at_one, 1.0, high), **CLOSE)


@pytest.mark.parametrize("transform", TRANSFORMS)
@pytest.mark.parametrize("series", SERIES)
def test_heights_errors_and_limits_are_those_of_survfit(series, transform):
    expected = R[f"km.{series}.{transform}.at"]["value"]
    curve = kaplan_meier(*SERIES[series](), transform=transform)
    _check_survival(at(curve, numbers(expected["time"]), extend=True), expected)


@pytest.mark.parametrize("transform", TRANSFORMS)
@pytest.mark.parametrize("series", SERIES)
def test_quantiles_and_their_limits_are_those_of_survfit(series, transform):
    expected = R[f"km.{series}.{transform}.quantiles"]["value"]
    curve = kaplan_meier(*SERIES[series](), transform=transform)
    for place, p in enumerate(expected["p"]):
        found = quantile(curve, p)
        listed = [numbers(expected[name])[place] for name in ("quantile", "lower", "upper")]
        assert_allclose([found.estimate[0], found.low[0], found.high[0]], listed, **CLOSE)


@pytest.mark.parametrize("series", ["lung", "tiny8", "sim_pat_any_failure_free"])
def test_whole_curves_are_those_of_survfit(series):
    expected = R[f"km.{series}.full_curve"]["value"]
    curve = kaplan_meier(*SERIES[series]())
    assert_allclose(curve.table.time, expected["time"])
    assert_allclose(curve.table.all_events[0], expected["n_event"])
    assert_allclose(curve.table.censored[0], expected["n_censor"])
    _check_survival(at(curve, expected["time"]), expected)


def test_several_groups_at_once_give_the_curves_of_each_alone():
    time, died, sex = _lung()
    both = kaplan_meier(time, died, group=sex)
    for row, name in enumerate(("lung_male", "lung_female")):
        expected = R[f"km.{name}.log-log.at"]["value"]
        _check_survival(at(both, expected["time"], extend=True), expected, row)


def test_late_entry_leaves_a_subject_out_of_the_earlier_risk_sets():
    late, expected = data("sim_delayed_entry"), R["km.delayed_entry"]["value"]
    curve = kaplan_meier(late.days, late.status > 0, entry=late.entry)
    found = at(curve, expected["time"])
    observed = [np.count_nonzero((late.entry < day) & (late.days >= day)) for day in expected["time"]]
    assert_allclose(found.at_risk[0], observed)
    next_end = [late.days[late.days >= day].min() for day in expected["time"]]  # where R counts its n.risk
    _check_survival(replace(found, at_risk=curve.table.risk_at(next_end)), expected)
    expected = R["aj.delayed_entry"]["value"]
    each_row = np.arange(len(late))  # R takes the infinitesimal jackknife here, which differs from the delta error
    curves = aalen_johansen(late.days, late.status, entry=late.entry, cluster=each_row)
    found = at(curves, expected["time"])
    for cause in (1, 2):
        assert_allclose(found.estimate[0, cause - 1], expected[f"cif{cause}"], **CLOSE)
        assert_allclose(found.std_error[0, cause - 1], expected[f"se{cause}"], **CLOSE)


def test_weights_count_subjects():
    time, died, _ = _lung()
    expected = R["km.lung.weights123"]["value"]
    curve = kaplan_meier(time, died, weights=np.resize([1, 2, 3], len(time)))
    _check_survival(at(curve, expected["time"]), expected)


def test_collections_taken_as_independent():
    rows, expected = data("sim_collections"), R["km.collections.naive"]["value"]
    _check_survival(at(kaplan_meier(rows.days, rows.status == 1), expected["time"]), expected)
    for name in ("aj.collections.naive", "aj.collections.cluster_robust"):
        expected = R[name]["value"]
        found = at(aalen_johansen(rows.days, rows.status), expected["time"])
        for cause in (1, 2):
            error = expected.get(f"se{cause}", expected.get(f"se{cause}_ij_independent"))
            assert_allclose(found.estimate[0, cause - 1], expected[f"cif{cause}"], **CLOSE)
            assert_allclose(found.std_error[0, cause - 1], error, **CLOSE)


def test_errors_clustered_by_patient_sum_the_influence_of_their_collections():
    rows, expected = data("sim_collections"), R["aj.collections.cluster_robust"]["value"]
    found = at(aalen_johansen(rows.days, rows.status, cluster=rows.patient_id), expected["time"])
    for cause in (1, 2):
        assert_allclose(found.estimate[0, cause - 1], expected[f"cif{cause}"], **CLOSE)
        assert_allclose(found.std_error[0, cause - 1], expected[f"se{cause}_ij_clustered"], **CLOSE)
    expected = R["km.collections.cluster_robust"]["value"]
    curve = kaplan_meier(rows.days, rows.status == 1, cluster=rows.patient_id)
    _check_survival(at(curve, expected["time"]), expected)


COMPETING = {"sim_patients": 3, "ties16": 2, "tiny8": 3}
EACH_CAUSE = [(series, cause) for series, causes in COMPETING.items() for cause in range(1, causes + 1)]


def _incidence(series, expected, cause):
    rows = data(series)
    return at(aalen_johansen(rows.days, rows.status), expected["time"]), cause - 1


@pytest.mark.parametrize(("series", "cause"), EACH_CAUSE)
def test_incidence_error_and_limits_are_those_of_survfit(series, cause):
    expected = R[f"aj.{series}.cause{cause}.survfit"]["value"]
    found, row = _incidence(series, expected, cause)
    assert_allclose(found.at_risk[0], expected["n_risk"])
    for ours, theirs in (("estimate", "cif"), ("std_error", "se"), ("low", "lower"), ("high", "upper")):
        assert_allclose(getattr(found, ours)[0, row], numbers(expected[theirs]), **CLOSE)


@pytest.mark.parametrize(("series", "cause"), EACH_CAUSE)
def test_errors_are_those_of_prodlim(series, cause):
    expected = R[f"aj.{series}.cause{cause}.prodlim"]["value"]
    found, row = _incidence(series, expected, cause)
    assert_allclose(found.estimate[0, row], expected["cuminc"], **CLOSE)
    assert_allclose(found.std_error[0, row], expected["se.cuminc"], **CLOSE)


@pytest.mark.parametrize(("series", "cause"), EACH_CAUSE)
def test_variances_are_those_of_etm(series, cause):
    expected = R[f"aj.{series}.cause{cause}.etm"]["value"]
    found, row = _incidence(series, expected, cause)
    assert_allclose(found.estimate[0, row], expected["cif"], **CLOSE)
    assert_allclose(found.std_error[0, row] ** 2, expected["var"], **CLOSE)


@pytest.mark.parametrize(("series", "cause"), EACH_CAUSE)
def test_incidence_is_that_of_cmprsk_whose_variance_is_of_another_type(series, cause):
    expected = R[f"aj.{series}.cause{cause}.cmprsk"]["value"]
    found, row = _incidence(series, expected, cause)
    assert_allclose(found.estimate[0, row], expected["cif"], **CLOSE)


@pytest.mark.parametrize(("series", "column"), [("sim_patients", "protocol"), ("ties16", "grp")])
def test_incidence_by_group_is_that_of_cmprsk_and_stops_where_a_group_was_last_seen(series, column):
    rows, expected = data(series), R[f"aj.{series}.by_group.cmprsk"]["value"]
    curves = aalen_johansen(rows.days, rows.status, group=rows[column])
    found = at(curves, expected["time"])
    named = [f"{group} {cause}" for cause in curves.table.causes for group in curves.table.groups]
    assert named == expected["curve"]
    for place, heights in enumerate(expected["est"]):
        cause, group = divmod(place, len(curves.table.groups))
        assert_allclose(found.estimate[group, cause], numbers(heights), **CLOSE)


def test_one_minus_kaplan_meier_is_the_figure_not_to_report():
    expected = R["naive_1minusKM.sim_patients"]["value"]
    heights = at(kaplan_meier(*_patients(1)), expected["time"]).estimate[0]
    assert_allclose(1 - heights, expected["one_minus_km"], **CLOSE)


def test_sessions_to_resolution_as_discrete_time():
    patients = data("sim_patients")
    expected = R["discrete.sessions_to_resolution.km"]["value"]
    curve = kaplan_meier(patients.n_sessions, patients.status == 1)
    _check_survival(at(curve, expected["time"]), expected)
    assert_allclose(curve.table.all_events[0, :8], expected["n_event"])
    assert_allclose(curve.table.censored[0, :8], expected["n_censor"])
    expected = R["discrete.sessions_to_resolution.aj"]["value"]
    found = at(aalen_johansen(patients.n_sessions, patients.status), expected["k"])
    assert_allclose(found.at_risk[0], expected["n_risk"])
    for row, name in enumerate(("cif_resolved", "cif_death", "cif_surgery")):
        assert_allclose(found.estimate[0, row], expected[name], **CLOSE)
    for ours, theirs in (("std_error", "se"), ("low", "lower"), ("high", "upper")):
        assert_allclose(getattr(found, ours)[0, 0], expected[theirs], **CLOSE)


def _bootstrap_tables(cause):
    patients, drawn = data("sim_patients"), data("boot_multiplicities_30x200").to_numpy()
    each = event_table(patients.days, cause(patients.status), group=np.arange(len(patients)))
    return each.weighted(drawn[:, -len(patients) :])


def test_bootstraps_from_counts_are_those_of_r_row_by_row():
    expected = R["boot.fixed_multiplicities"]["value"]
    rows = np.array([each["rep"] for each in expected]) - 1
    resolved = kaplan_meier_of(_bootstrap_tables(lambda status: status == 1))
    competing = aalen_johansen_of(_bootstrap_tables(lambda status: status))
    assert_allclose(quantile(resolved).estimate[rows], [each["km_median_causespec"] for each in expected], **CLOSE)
    heights = at(competing, [90]).estimate[rows, 0, 0]
    assert_allclose(heights, [each["aj90_resolved"] for each in expected], **CLOSE)
