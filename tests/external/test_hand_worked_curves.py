"""Small cases worked by hand, with the working beside them (values read from the working, not from a program)."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose

from builders.outside_values import values
from necrostats.stats.incidence import aalen_johansen, at, kaplan_meier, quantile
from necrostats.stats.proportions import korn_graubard

TOYS = values("hand_worked")


def test_ten_patients_with_three_competing_causes():
    toy = TOYS["aalen_johansen_toy"]
    curves = aalen_johansen(toy["time"], toy["event"])
    found = at(curves, [70])
    expected = [toy[f"cif{cause}_at_70"] for cause in (1, 2, 3)]
    assert_allclose(found.estimate[0, :, 0], expected, rtol=0, atol=0.5e-6)
    assert_allclose(curves.event_free[0, curves.table.time == 70], toy["event_free_at_70"], rtol=0, atol=0.5e-6)
    naive = kaplan_meier(toy["time"], np.array(toy["event"]) == 1)
    assert_allclose(1 - at(naive, [70]).estimate[0], toy["naive_1_minus_km_at_70"], rtol=0, atol=0.5e-6)


def test_twelve_patients_by_session():
    toy = TOYS["session_lifetable_toy"]
    found = at(aalen_johansen(toy["sessions"], toy["status"]), np.arange(1, 7))
    assert_allclose(found.estimate[0, 0], toy["cif_resolved"], rtol=0, atol=0.5e-4)
    assert_allclose(found.estimate[0, 1], toy["cif_failure"], rtol=0, atol=0.5e-4)


def test_ten_patients_whose_events_cluster():
    toy = TOYS["cluster_toy"]
    found = korn_graubard(toy["aes"], toy["sessions"], np.arange(len(toy["aes"])))
    assert_allclose(found.estimate, toy["rate"], rtol=0, atol=0.5e-6)
    assert_allclose(np.sqrt(0.2 * 0.8 / 30), toy["se_naive"], rtol=0, atol=0.5e-5)
    by_hand = np.sqrt(10 / 9 * 6.16) / 30  # residuals y − .2 m squared add up to 6.16; = .0872063
    assert_allclose(found.std_error, by_hand, rtol=1e-12)
    assert_allclose(found.design_effect, toy["design_effect"], rtol=0, atol=0.5e-3)
    assert_allclose(found.effective_n, toy["n_eff"], rtol=0, atol=0.5e-2)


def test_four_subjects_without_censoring():
    """S = 3/4, 1/2, 1/4, 0; Greenwood at 2: ½·√(1/12 + 1/6) = 1/4; level at one half from 2 to 3: median 2½."""
    curve = kaplan_meier([1, 2, 3, 4], [1, 1, 1, 1])
    assert_allclose(curve.estimate[0], [0.75, 0.5, 0.25, 0.0])
    assert_allclose(curve.std_error[0, 1], 0.25)
    assert quantile(curve).estimate[0] == 2.5


def test_three_subjects_with_two_causes():
    """Day 1 cause 1 (1/3), day 2 censored, day 3 cause 2 (2/3 · 1/1): 1/3, 2/3; SE of the first √(1/3·2/3/3)."""
    curves = aalen_johansen([1, 2, 3], [1, 0, 2])
    assert_allclose(curves.estimate[0], [[1 / 3, 1 / 3, 1 / 3], [0, 0, 2 / 3]])
    assert_allclose(curves.std_error[0, 0], np.sqrt(2 / 27))
    assert_allclose(curves.event_free[0], [2 / 3, 2 / 3, 0], atol=1e-15)
