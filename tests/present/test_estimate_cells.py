from __future__ import annotations

import pandas as pd
import pytest

from builders.results import NAN
from necrostats.measures.estimates import estimate_row, estimate_table
from necrostats.present import estimate_cells as cells


def _row(**changes):
    given = {"unit": "share", "of": "patients", "n": 142, "estimate": 0.6855, "low": 0.598, "high": 0.758, "events": 90}
    return next(estimate_table([estimate_row("cumulative incidence", "x", **(given | changes))]).itertuples())


@pytest.mark.parametrize(
    ("changes", "written"),
    [
        ({}, "69 (60–76)"),
        ({"estimate": 0.047, "low": 0.024, "high": 0.082}, "4.7 (2.4–8.2)"),
        ({"low": NAN, "high": NAN}, "69 (no interval)"),
        ({"unit": "difference of shares", "estimate": -0.0467, "low": -0.161, "high": 0.068}, "−4.7 (−16.1 to 6.8)"),
        ({"unit": "sessions", "estimate": 2.38, "low": 2.06, "high": 2.70}, "2.38 (2.06–2.70)"),
        ({"unit": "days", "estimate": 529.0, "low": 335.5, "high": NAN}, "529 (335.5 to not reached)"),
        ({"n": 4}, "too few"),
        ({"n": 0, "estimate": NAN}, "no values"),
        ({"estimate": NAN}, "not known"),
    ],
)
def test_a_figure_is_written_with_its_interval_or_with_why_there_is_none(changes, written):
    row = _row(**changes)
    few = bool(cells.too_few(pd.DataFrame({"n": pd.array([row.n], dtype="Int64")}))[0])
    assert cells.text(row, few) == written


def test_a_median_that_is_not_known_was_not_reached():
    row = next(
        estimate_table(
            [estimate_row("median follow-up", "x", unit="days", of="patients", n=20, estimate=NAN)]
        ).itertuples()
    )
    assert cells.text(row, False) == "not reached"


def test_what_a_figure_rests_on():
    assert cells.rests_on(_row()) == "90 / 142"
    assert cells.rests_on(_row(events=pd.NA)) == "142"


def test_a_heading_names_the_unit():
    assert cells.heading("mean", "difference in sessions") == "Mean, sessions"
    assert cells.heading("gap", "difference of shares") == "Gap, percentage points"
