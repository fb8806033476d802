"""Control charts against R 4.2.2 (qbinom, qpois, qgeom; each entry of data/r_control_charts.json gives its call), and
against worked examples in print."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from builders.outside_values import data, values
from necrostats.stats.control_charts import (
    gap_chart,
    predicted_events,
    rate_chart,
    rate_cusum,
    run_chart,
    share_chart,
    share_cusum,
    three_sigma_rate,
    three_sigma_share,
)

R = {name: entry["value"] for name, entry in values("r_control_charts").items()}
QUARTERS = data("sim_quarterly")
BASELINE = QUARTERS.iloc[:18]
SHARE = BASELINE["ae"].sum() / BASELINE["sessions"].sum()
RATE = BASELINE["ae"].sum() / BASELINE["patient_days"].sum()


def test_exact_limits_of_shares_and_rates_are_quantiles():
    shares, rates = share_chart(SHARE, QUARTERS["sessions"]), rate_chart(RATE, QUARTERS["patient_days"])
    for limits, name in ((shares, "chart.p.prob_limits"), (rates, "chart.u.prob_limits")):
        assert_array_equal(limits.high, R[name]["U_count"])
        assert_array_equal(limits.low, R[name]["L_count"])
        assert np.flatnonzero(limits.signals(QUARTERS["ae"])).tolist() == [R[name]["signal"] - 1]
    assert rate_chart(R["chart.c"]["center"], 1).high == R["chart.c"]["U_prob"]


def test_limits_by_three_standard_errors():
    shares = three_sigma_share(SHARE, QUARTERS["sessions"])
    rates = three_sigma_rate(RATE, QUARTERS["patient_days"])
    assert_allclose(shares.high, R["chart.p.3sigma"]["ucl"], rtol=1e-9)
    assert_allclose(rates.high, R["chart.u.3sigma"]["ucl"], rtol=1e-9)
    signals = np.flatnonzero(rates.signals(QUARTERS["ae"] / QUARTERS["patient_days"])) + 1
    assert signals.tolist() == R["chart.u.3sigma"]["signal"]


@pytest.mark.parametrize(
    ("limits", "published", "half"),
    [
        (three_sigma_share(301 / (28 * 50), 50), (0.215, 0.0407, 0.3893), 0.5e-4),
        (three_sigma_rate(19.85, 1), (19.85, 6.48, 33.22), 0.5e-2),
        (three_sigma_rate(1.93, 5), (1.93, 0.07, 3.79), 0.5e-2),
    ],
)
def test_worked_examples_of_a_textbook(limits, published, half):
    """Montgomery DC. Introduction to Statistical Quality Control: cans, circuit boards, computers (from memory)."""
    assert_allclose([limits.centre, limits.low[0], limits.high[0]], published, rtol=0, atol=half)


def test_sums_of_log_likelihood_ratios():
    shares = share_cusum(QUARTERS["ae"], QUARTERS["sessions"], SHARE)
    rates = rate_cusum(QUARTERS["ae"], RATE * QUARTERS["patient_days"])
    for found, name in ((shares, "chart.cusum_llr_binomial_or2"), (rates, "chart.cusum_llr_poisson_rr2")):
        assert_allclose(found.weight, R[name]["W"], rtol=1e-9, atol=1e-9)
        assert_allclose(found.total, R[name]["S"], rtol=1e-9, atol=1e-9)


def test_limits_of_sessions_between_events():
    limits = gap_chart(R["chart.g"]["p"])
    assert (limits.low[0], limits.high[0]) == (R["chart.g"]["L"], R["chart.g"]["U"])
    assert_allclose(limits.centre, R["chart.g"]["mean_gap"], rtol=1e-9)


@pytest.mark.parametrize(("n", "longest", "crossings"), [(10, 6, 2), (12, 7, 3), (20, 7, 6), (24, 8, 8), (30, 8, 10)])
def test_limits_of_a_run_chart_are_as_published(n, longest, crossings):
    """Anhøj J, Olesen AV. PLoS One 2014;9:e113825: 24 points, longer than 8, fewer than 8. The others: its formulas."""
    found = run_chart(np.arange(n) % 2)
    assert (found.useful, found.longest_expected) == (n, longest)
    assert found.fewest_expected == crossings


def test_a_quarter_of_nine_after_six_of_forty_one():
    """Six of 41 before, nine now: none to four if nothing changed. By enumeration of the beta-binomial."""
    band = predicted_events(6, 41, 9)
    assert (band.low[0], band.high[0]) == (0, 4)
