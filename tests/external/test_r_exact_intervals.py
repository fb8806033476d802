"""Exact and score intervals against R 4.2.2: qbeta, qgamma, poisson.test, root finding on mid-P tails.

Values were read from R's output; each entry of data/r_exact_intervals.json gives its call. Closed forms: 1e-9.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from builders.outside_values import data, values
from necrostats.stats.proportions import clopper_pearson, korn_graubard, mid_p, wilson
from necrostats.stats.rates import garwood

R = values("r_exact_intervals")
CLOSE = {"rtol": 1e-9, "atol": 1e-9}
BINOMIAL, POISSON = R["binom.ci"]["value"], R["poisson.ci"]["value"]


@pytest.mark.parametrize(
    ("method", "level", "column"),
    [
        (clopper_pearson, 0.95, "clopper_pearson"),
        (clopper_pearson, 0.90, "cp90"),
        (clopper_pearson, 0.99, "cp99"),
        (mid_p, 0.95, "midp"),
        (wilson, 0.95, "wilson"),
    ],
)
def test_limits_for_a_share_are_those_of_r(method, level, column):
    k, n = ([row[name] for row in BINOMIAL] for name in ("k", "n"))
    found = method(k, n, level=level)
    assert_allclose(np.stack([found.low, found.high], axis=1), [row[column] for row in BINOMIAL], **CLOSE)


def test_no_events_have_the_one_sided_975_limit_as_their_upper_limit():
    none = [row for row in BINOMIAL if row["k"] == 0]
    found = clopper_pearson(0, [row["n"] for row in none])
    assert_allclose(found.high, [row["clopper_onesided_upper975"] for row in none], **CLOSE)


@pytest.mark.parametrize(("level", "column"), [(0.95, "garwood"), (0.90, "garwood90"), (0.99, "garwood99")])
def test_limits_for_a_count_are_those_of_r(level, column):
    found = garwood([row["x"] for row in POISSON], 1, level=level)
    assert_allclose(np.stack([found.low, found.high], axis=1), [row[column] for row in POISSON], **CLOSE)


@pytest.mark.parametrize("row", R["poisson.rate_examples"]["value"])
def test_limits_for_a_rate_are_those_of_r(row):
    found = garwood(row["x"], row["T"], per=row["per"])
    assert_allclose([found.estimate, found.low, found.high], [row["rate"], *row["ci"]], **CLOSE)


def test_events_per_session_clustered_by_patient_are_those_of_r():
    sessions, expected = data("sim_sessions"), R["ae_rate.per_session.cluster"]["value"]
    found = korn_graubard(sessions.ae, 1, sessions.patient_id)
    assert_allclose(found.estimate, expected["p"], **CLOSE)
    assert_allclose(found.std_error, expected["se_ratio"], **CLOSE)
    binomial = expected["p"] * (1 - expected["p"]) / expected["sessions"]
    assert_allclose(found.std_error**2 / binomial, expected["deff"], **CLOSE)
    assert found.clusters == expected["patients"]
    assert found.design_effect == 1  # R's .995 is taken as 1: clustering never narrows the limits
    plain = clopper_pearson(expected["ae"], expected["sessions"])
    assert_allclose([plain.low, plain.high], expected["cp_iid"], **CLOSE)
    assert found.low < plain.low and found.high > plain.high
