"""Cox models against R 4.2.2 (survival 3.5-3); each entry of data/r_cox.json gives its call.

Values were read from R's output; R stops when its log-likelihood changes by less than 1e-9 of itself, so 1e-8 where it
took few steps. The transplant programme's coefficients are as printed in 2000, from memory.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from builders.outside_values import data, values
from necrostats.stats.cox import cox, proportional_hazards

R = values("r_cox")


def _lung(*columns, **more):
    rows = data("lung").dropna(subset=list(columns))
    chosen = [each for each in columns if each != "inst"]
    labels = {name: rows[each] for name, each in more.items()}
    return (rows.time, rows.status == 2, rows[chosen]), labels


def _veteran(*columns, **more):
    rows = data("veteran")
    return (rows.time, rows.status, rows[list(columns)]), {name: rows[each] for name, each in more.items()}


def _heart(*columns):
    rows = data("heart")
    return (rows.stop, rows.event, rows[list(columns)].astype(float)), {"entry": rows.start}


def _ever_transplanted():
    rows = data("heart").groupby("id").agg({"stop": "last", "event": "last", "transplant": "max", "age": "first"})
    return (rows.stop, rows.event, rows[["transplant", "age"]]), {}


def _collections(ties):
    rows = data("sim_collections")
    return (rows.days, rows.status == 1, rows[["arm", "size_mm"]]), {"cluster": rows.patient_id, "ties": ties}


def _rats():
    rows = data("rats")
    return (rows.time, rows.status, rows.rx), {"cluster": rows.litter}


def _patients(cause):
    rows = data("sim_patients")
    return (rows.days, rows.status == cause, rows.assign(b=rows.protocol == "B")[["b", *OTHERS]].astype(float)), {}


OTHERS = ("age", "solid_pct", "size_mm")
SERIES = {
    "cox.lung.efron": lambda: _lung("age", "sex", "ph.ecog"),
    "cox.lung.breslow": lambda: _with(_lung("age", "sex", "ph.ecog"), ties="breslow"),
    "cox.veteran.efron": lambda: _veteran("trt", "karno", "age", "prior"),
    "cox.veteran.breslow": lambda: _with(_veteran("trt", "karno", "age", "prior"), ties="breslow"),
    "cox.lung.cluster_inst": lambda: _lung("age", "sex", "inst", cluster="inst"),
    "cox.lung.robust_nocluster": lambda: _with(_lung("age", "sex", "inst"), cluster=np.arange(227)),
    "cox.rats.cluster_litter": _rats,
    "cox.collections.cluster.efron": lambda: _collections("efron"),
    "cox.collections.cluster.breslow": lambda: _collections("breslow"),
    "cox.veteran.strata": lambda: _veteran("trt", "karno", strata="celltype"),
    "coxtv.heart": lambda: _heart("age", "year", "surgery", "transplant"),
    "coxtv.heart.transplant_age": lambda: _heart("transplant", "age"),
    "cox.heart.immortal_naive": _ever_transplanted,
    **{f"cscox.sim_patients.cause{cause}": lambda cause=cause: _patients(cause) for cause in (1, 2, 3)},
}


def _with(given, **more):
    return given[0], given[1] | more


def test_every_entry_belongs_to_a_check_below():
    assert set(R) == set(SERIES) | {"cox.monotone", "coxzph.veteran", "coxzph.veteran.rank"}


@pytest.mark.parametrize("name", SERIES)
def test_coefficients_errors_and_likelihoods_are_those_of_coxph(name):
    expected, (rows, options) = R[name]["value"], SERIES[name]()
    found = cox(*rows, **options)
    assert_allclose(found.coefficient, expected["coef"], rtol=0, atol=1e-8)
    assert_allclose(found.model_error, expected["se"], rtol=0, atol=1e-8)
    assert_allclose([found.null, found.log_likelihood], expected["loglik"], rtol=0, atol=1e-9)
    if "se_robust" in expected:
        assert_allclose(found.std_error, expected["se_robust"], rtol=0, atol=1e-8)
    assert found.robust == ("se_robust" in expected)


def test_a_likelihood_that_rises_for_ever_keeps_its_ratio_test():
    expected = R["cox.monotone"]["value"]
    found = cox(np.arange(1, 11), np.ones(10), np.repeat([1, 0], 5))
    assert found.coefficient[0] == np.inf and np.isnan(found.std_error[0])
    assert [note.code for note in found.notes] == ["SEPARATION"]
    assert_allclose(found.likelihood_ratio.statistic, expected["lrt"], rtol=0, atol=1e-7)
    assert_allclose(found.likelihood_ratio.p_value, expected["lrt_p"], rtol=1e-7)


@pytest.mark.parametrize(("transform", "name"), [("km", "coxzph.veteran"), ("rank", "coxzph.veteran.rank")])
def test_tests_of_proportional_hazards_are_those_of_cox_zph(transform, name):
    expected, (rows, _) = R[name]["value"], _veteran("trt", "karno", "age")
    found = proportional_hazards(*rows, transform=transform)
    assert_allclose([*found.statistic, found.global_statistic], expected["chisq"], rtol=1e-9)
    assert_allclose([*found.p_value, found.global_p_value], expected["p"], rtol=1e-9)


def test_the_transplant_programme_as_printed():
    """Crowley J, Hu M. JASA 1977;72:27 data; Therneau & Grambsch, Modeling Survival Data, 2000 (from memory)."""
    rows, entry = _heart("age", "year", "surgery", "transplant")
    found = cox(*rows, **entry)
    assert_allclose(found.coefficient, [0.0272, -0.1463, -0.6372, -0.0103], rtol=0, atol=0.5e-4)
    assert_allclose(found.std_error, [0.0137, 0.0705, 0.3672, 0.3138], rtol=0, atol=0.5e-4)
