"""The committed table of planned and found power: what it shows, and that the script still gives it."""

from __future__ import annotations

import numpy as np
import pytest

from simulations.plan_power import SERIES, TABLE, simulate
from simulations.tables import read


def test_the_plan_has_the_power_it_says_within_3_points():
    rows = read(TABLE)
    assert len(rows) == len(SERIES)
    assert all(abs(float(row["found"]) - float(row["planned"])) <= 0.03 for row in rows)


@pytest.mark.simulation
def test_a_short_run_of_the_script_agrees_with_the_table():
    row, again = read(TABLE)[0], simulate(*SERIES[0], replicates=60)
    assert again.smallest_ratio == pytest.approx(float(row["smallest_ratio"]), abs=1e-3)
    assert abs(again.found - float(row["found"])) < 4 * np.sqrt(0.16 / 60)
