"""Restricted means against R 4.2.2 (survival 3.5-3). Values were read from R's output; each entry gives its call."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from builders.outside_values import data, values
from necrostats.stats.curve_terms import Subjects
from necrostats.stats.incidence import aalen_johansen, kaplan_meier
from necrostats.stats.restricted_means import difference, ratio, restricted_mean

R = values("r_restricted_means")
CLOSE = {"rtol": 1e-9, "atol": 1e-9}


def _lung(sex=None):
    lung = data("lung")
    rows = lung if sex is None else lung[lung.sex == sex]
    return rows.time, rows.status == 2


SERIES = {
    "lung": _lung,
    "lung_male": lambda: _lung(1),
    "lung_female": lambda: _lung(2),
    "veteran_trt1": lambda: tuple(data("veteran").query("trt == 1")[each] for each in ("time", "status")),
    "sim_pat_any_failure_free": lambda: (data("sim_patients").days, data("sim_patients").status > 0),
    "tiny8": lambda: (data("tiny8").days, data("tiny8").status > 0),
}
SURVIVAL = [name for name in R if name.startswith("rmst.") and ".diff." not in name]
LOST = [name for name in R if name.startswith("rmtl.")]
LOST_WITH_ERROR = [name for name in R if name.startswith("rmtl_se.")]


def test_every_entry_belongs_to_a_check_below():
    assert len(SURVIVAL) + len(LOST) + len(LOST_WITH_ERROR) + 1 == len(R) == 23


@pytest.mark.parametrize("name", SURVIVAL)
def test_time_free_of_events_and_its_error_are_those_of_survmean(name):
    expected = R[name]["value"]
    found = restricted_mean(kaplan_meier(*SERIES[name.split(".")[1]]()), expected["tau"])
    assert_allclose([found.estimate[0], found.std_error[0]], [expected["rmst"], expected["se"]], **CLOSE)
    assert found.notes == ()


@pytest.mark.parametrize("name", LOST)
def test_time_lost_to_each_cause_is_that_of_survfit(name):
    expected, patients = R[name]["value"], data("sim_patients")
    found = restricted_mean(aalen_johansen(patients.days, patients.status), expected["tau"])
    assert_allclose(found.estimate[0], np.array(expected["matrix"])[1:, 2], **CLOSE)


@pytest.mark.parametrize("name", LOST_WITH_ERROR)
def test_errors_of_time_lost_are_the_infinitesimal_jackknife(name):
    expected, patients = R[name]["value"], data("sim_patients")
    rows = Subjects(time=patients.days, cause=patients.status, cluster=patients.patient_id)
    incidence = aalen_johansen(patients.days, patients.status)
    free = kaplan_meier(patients.days, patients.status > 0)
    for subjects in (None, rows):
        found = restricted_mean(incidence, expected["tau"], subjects=subjects)
        alive = restricted_mean(free, expected["tau"], subjects=subjects)
        assert_allclose(np.append(alive.estimate, found.estimate), expected["rmst_or_rmtl"], **CLOSE)
        assert_allclose(np.append(alive.std_error, found.std_error), expected["se_ij"], **CLOSE)


def test_difference_and_ratio_of_two_groups():
    lung, expected = data("lung"), R["rmst.diff.lung_female_minus_male.tau365"]["value"]
    figures = restricted_mean(kaplan_meier(lung.time, lung.status == 2, group=lung.sex), 365)
    gap = difference(figures, 2, 1)
    assert_allclose(
        [gap.estimate, gap.std_error, gap.low, gap.high, gap.statistic, gap.p_value],
        [expected[name] for name in ("diff", "se", "lower", "upper", "z", "p")],
        **CLOSE,
    )
    share = ratio(figures, 2, 1)
    assert_allclose([share.estimate, share.low, share.high], [expected["ratio"], *expected["ratio_ci"]], **CLOSE)
