"""The committed tables of signals and false alarms: what they show, and that the script still gives them."""

from __future__ import annotations

import pytest
from scipy import stats

from simulations.quarter_verdicts import ALARMS, RAISED, TABLE, enumerated, signals
from simulations.tables import read


def test_false_alarms_stay_below_the_stated_rate():
    """Exact limits leave at most 0.00135 in each tail."""
    rows = read(ALARMS)
    assert len(rows) == 12
    assert all(float(row["false_alarms"]) <= 2 * 0.00135 for row in rows)
    assert [(row["share"], row["sessions"], float(row["false_alarms"])) for row in rows] == [
        (str(row.share), str(row.sessions), row.false_alarms) for row in enumerated()
    ]


def test_units_without_a_rise_seldom_give_a_signal_and_units_with_it_give_more():
    rows = {(row["rise"], row["quarter"]): (int(row["signals"]), int(row["units"])) for row in read(TABLE)}
    for (rise, quarter), (found, units) in rows.items():
        if rise == "no" or quarter != RAISED:
            assert stats.binom.sf(found - 1, units, 2 * 0.00135) > 0.001
    found, units = rows["yes", RAISED]
    assert found / units > 0.1


@pytest.mark.simulation
@pytest.mark.parametrize("rise", [True, False])
def test_a_unit_of_the_script_is_judged_in_both_quarters(rise):
    assert set(signals(1, rise=rise)) == {"2025Q3", "2024Q3"}
