from __future__ import annotations

import pandas as pd
import pytest

from builders.results import NAN, method, population
from necrostats.measures.grouping import estimate_row, estimate_table
from necrostats.present import estimate_cells as cells
from necrostats.present.saying import findings
from necrostats.results import Estimates


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


def _said(*rows, groups=("all",)):
    table = estimate_table(list(rows), groups=groups)
    return findings(Estimates(title="Figures", frame=table, population=population(), method=method()))


def _share(variable, estimate, events, n=20, **more):
    return estimate_row(
        "incidence",
        variable,
        unit="share",
        of="patients",
        events=events,
        n=n,
        estimate=estimate,
        low=estimate - 0.1,
        high=estimate + 0.1,
        **more,
    )


def _follow_up(estimate, low, high, n, group):
    return estimate_row(
        "median follow-up",
        "follow-up",
        unit="days",
        of="patients",
        n=n,
        group=group,
        estimate=estimate,
        low=low,
        high=high,
    )


def test_each_of_a_few_figures_is_said_with_what_it_rests_on():
    assert _said(_share("a", 0.5, 10), _share("b", 0.3, 6)) == (
        "Incidence: a 50 % (95 % CI 40–60 %), 10 of 20 patients; b 30 % (95 % CI 20–40 %), 6 of 20 patients.",
    )


def test_a_median_of_days_names_its_group_and_says_how_many_without_a_count():
    rows = (_follow_up(120, 90, NAN, 30, "female"), _follow_up(200, 150, 260, 1, "male"))
    assert _said(*rows, groups=("female", "male")) == (
        "Median follow-up: follow-up, female 120 days (95 % CI 90 to not reached), n = 30 patients; follow-up, male "
        "too few, n = 1 patient.",
    )


def test_each_measure_has_a_sentence_of_its_own():
    gap = estimate_row(
        "difference", "a minus b", unit="difference of shares", of="patients", n=40, estimate=-0.2, low=-0.3, high=-0.1
    )
    said = _said(_share("a", 0.5, 10), gap)
    assert len(said) == 2
    assert said[1] == "Difference: a minus b −20.0 percentage points (95 % CI −30.0 to −10.0), n = 40 patients."


def test_of_many_figures_the_lowest_the_highest_and_the_first_are_said():
    shares = {"a": 0.5, "b": 0.3, "c": 0.6, "d": 0.4, "e": 0.5}
    rows = [_share(name, share, round(20 * share)) for name, share in shares.items()]
    assert _said(*rows) == (
        "Incidence: from 30 % (95 % CI 20–40 %) (b) to 60 % (95 % CI 50–70 %) (c), over 5 figures; "
        "a 50 % (95 % CI 40–60 %), 10 of 20 patients.",
    )


def test_many_figures_of_which_none_can_be_given_and_no_figures_at_all_are_answers():
    few = [_share(name, 0.5, 2, n=4) for name in "abcde"]
    assert _said(*few) == ("Incidence: none can be given.",)
    assert _said() == ("There are no figures to words.",)
