"""Log-rank tests against R 4.2.2 (survival 3.5-3), Gray's test against cmprsk 2.2-11; each entry gives its call.

Values were read from R's output. The Freireich trial's χ² is as printed in textbooks, from memory.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from builders.outside_values import data, values
from necrostats.stats.curve_tests import gray_test, log_rank

R = values("r_curve_tests")
CLOSE = {"rtol": 1e-9, "atol": 1e-10}


def _patients(**columns):
    rows = data("sim_patients")
    return rows.days, rows.status == 1, {"group": rows.protocol} | {name: rows[each] for name, each in columns.items()}


def _veteran(**columns):
    rows = data("veteran")
    return rows.time, rows.status, {name: rows[each] for name, each in columns.items()}


def _lung():
    rows = data("lung")
    return rows.time, rows.status == 2, {"group": rows.sex}


def _rats():
    rows = data("rats").query("sex == 'f'")
    return rows.time, rows.status, {"group": rows.rx, "strata": rows.litter}


LOG_RANK = {
    "lung_sex": _lung,
    "veteran_celltype": lambda: _veteran(group="celltype"),
    "sim_protocol_causespec": _patients,
    "veteran_trt.strat_celltype": lambda: _veteran(group="trt", strata="celltype"),
    "rats_rx.strat_litter": _rats,
    "sim_protocol.strat_site": lambda: _patients(strata="site"),
}
GRAY = {
    "gray.sim_patients": ("sim_patients", "protocol", None, 0),
    "gray.sim_patients.rho1": ("sim_patients", "protocol", None, 1),
    "gray.ties16": ("ties16", "grp", None, 0),
    "gray.ties16.rho1": ("ties16", "grp", None, 1),
    "gray.sim_patients.stratified_site": ("sim_patients", "protocol", "site", 0),
}


@pytest.mark.parametrize("name", [each for each in R if each.startswith("logrank.")])
def test_log_rank_tests_are_those_of_survdiff(name):
    series, rho = name.removeprefix("logrank."), 0
    if series not in LOG_RANK:
        series, rho = series[:-5], int(series[-1])
    time, event, labels = LOG_RANK[series]()
    expected = R[name]["value"]
    found = log_rank(time, event, rho=rho, **labels)
    assert_allclose(found.observed, expected["obs"], **CLOSE)
    assert_allclose(found.expected, expected["exp"], **CLOSE)
    assert_allclose([found.statistic, found.p_value], [expected["chisq"], expected["p"]], **CLOSE)
    assert found.degrees_of_freedom == expected["df"]


@pytest.mark.parametrize("name", GRAY)
def test_gray_tests_are_those_of_cmprsk(name):
    series, column, strata, rho = GRAY[name]
    rows, expected = data(series), R[name]["value"]
    for place, cause in enumerate(expected["cause"]):
        found = gray_test(
            rows.days,
            rows.status,
            group=rows[column],
            of=int(cause),
            rho=rho,
            strata=None if strata is None else rows[strata],
        )
        assert_allclose([found.statistic, found.p_value], [expected["stat"][place], expected["p"][place]], **CLOSE)
        assert found.degrees_of_freedom == expected["df"][place]


def test_every_entry_belongs_to_a_check_above():
    rest = {name for name in R if name.startswith("gray.")}
    assert rest == set(GRAY) and len(R) == len(rest) + 9


def test_remission_in_leukaemia_as_printed():
    """Freireich EJ et al. Blood 1963;21:699; χ² 16.79 as in Kleinbaum & Klein, Survival Analysis (from memory)."""
    trial = values("freireich_1963")
    time = trial["time"] + trial["placebo"]
    event = trial["event"] + [1] * len(trial["placebo"])
    found = log_rank(time, event, group=["drug"] * len(trial["time"]) + ["placebo"] * len(trial["placebo"]))
    assert_allclose(found.statistic, 16.79, atol=0.005)


PAIRS = np.repeat(np.arange(6), 2)
PAST_ONE = {
    "sixes": (
        [10, 10, 4, 9, 4, 8, 16, 13, 7, 13, 15, 12],
        [1, 1, 1, 2, 1, 1, 1, 1, 1, 1, 1, 1],
        PAIRS,
        (7.794345, 0.167940),
    ),
    "fours": (
        [12, 17, 23, 26, 33, 21, 25, 29, 26, 22, 21, 10],
        [1, 0, 1, 1, 2, 0, 0, 1, 1, 1, 1, 1],
        np.repeat(np.arange(4), 3),
        (10.247301, 0.016577),
    ),
    "sixes, spread": (
        [11, 16, 1, 6, 14, 19, 20, 14, 5, 4, 8, 4],
        [0, 1, 1, 1, 1, 1, 0, 1, 1, 1, 1, 1],
        PAIRS,
        (12.009577, 0.034657),
    ),
}


@pytest.mark.parametrize("name", PAST_ONE)
def test_grays_test_is_that_of_cmprsk_where_the_pooled_incidence_passes_1(name):
    """R 4.2.2, cmprsk 2.2-11. With the negative rest taken as 0, p would be .176921, .015695 and .034813."""
    days, status, group, (statistic, p_value) = PAST_ONE[name]
    found = gray_test(days, status, group=group)
    assert_allclose([found.statistic, found.p_value], [statistic, p_value], rtol=0, atol=5e-7)
