from __future__ import annotations

import pandas as pd
import pytest

from builders.results import NAN, method, note, population
from necrostats.measures.grouping import estimate_row, estimate_table
from necrostats.present import chart, table, words
from necrostats.present.estimates import heading, rests_on, text, too_few
from necrostats.present.wording import findings
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
    few = bool(too_few(pd.DataFrame({"n": pd.array([row.n], dtype="Int64")}))[0])
    assert text(row, few) == written


def test_a_median_that_is_not_known_was_not_reached():
    row = next(
        estimate_table(
            [estimate_row("median follow-up", "x", unit="days", of="patients", n=20, estimate=NAN)]
        ).itertuples()
    )
    assert text(row, False) == "not reached"


def test_what_a_figure_rests_on():
    assert rests_on(_row()) == "90 / 142"
    assert rests_on(_row(events=pd.NA)) == "142"


def test_a_heading_names_the_unit():
    assert heading("mean", "difference in sessions") == "Mean, sessions"
    assert heading("gap", "difference of shares") == "Gap, percentage points"


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


def _result(rows, groups=("all",), **more):
    return Estimates(
        title="Figures", frame=estimate_table(rows, groups=groups), population=population(), method=method(), **more
    )


def _share_of(variable, estimate=0.5, n=20, **more):
    events = pd.NA if pd.isna(estimate) else round(n * estimate)
    given = {"low": estimate - 0.2, "high": estimate + 0.2, "events": events} | more
    return estimate_row("incidence", variable, unit="share", of="patients", n=n, estimate=estimate, **given)


def _gap(estimate):
    return estimate_row(
        "difference",
        "a minus b",
        unit="difference in sessions",
        of="patients",
        n=40,
        estimate=estimate,
        low=estimate - 1,
        high=estimate + 1,
    )


def _texts(figure):
    return [text.get_text() for text in figure.fig.texts]


def test_each_measure_has_a_panel_and_a_scale_of_its_own():
    figure = chart(_result([_share_of("a"), _share_of("b", 0.3), _gap(-1.5)]))
    assert len(figure.fig.axes) == 2
    shares, gaps = (axes.get_xlim() for axes in figure.fig.axes)
    assert 0 == shares[0] < 0.7 < shares[1] <= 1
    assert gaps[0] <= -2.5 and gaps[1] >= 0
    assert "sessions, 0 = no difference" in [axes.get_xlabel() for axes in figure.fig.axes] + _texts(figure)
    assert "Each panel has its own unit and scale" in figure.caption


def test_the_drawn_numbers_are_those_of_the_result():
    result = _result([_share_of("a"), _share_of("b", 0.3)])
    pd.testing.assert_frame_equal(chart(result).data, result.frame)


def test_too_few_are_counted_and_not_drawn():
    figure = chart(_result([_share_of("a"), _share_of("b", 0.5, n=4)]))
    assert figure.data["estimate"].isna().tolist() == [False, True]
    assert "too few" in _texts(figure)
    assert "2 / 4" in _texts(figure)


def test_groups_stand_under_the_name_of_the_variable():
    rows = [_share_of("follow-up", group="female"), _share_of("follow-up", group="male")]
    result = _result(rows, groups=("female", "male"))
    assert {"Follow-up", "female", "male"} <= set(_texts(chart(result)))
    assert list(table(result).frame["Group"]) == ["female", "male"]


def test_the_table_holds_every_row_with_what_it_rests_on_and_the_notes():
    shown = table(_result([_share_of("a"), _gap(1.5)], notes=(note("Look out"),)))
    assert list(shown.frame["Rests on"]) == ["10 / 20 patients", "40 patients"]
    assert list(shown.frame.iloc[:, -1]) == ["50 (30–70)", "1.50 (0.50–2.50)"]
    assert shown.notes == ("Look out.",)
    assert "<caption>" in shown.html


def test_a_few_figures_are_all_said_and_many_by_their_range():
    few = words(_result([_share_of("a"), _share_of("b", 0.3)]))
    assert few.startswith("Incidence: a 50 % (95 % CI 30–70 %), 10 of 20 patients; b 30 % (95 % CI 10–50 %), 6 of 20")
    shares = zip("abcde", (0.5, 0.3, 0.6, 0.4, 0.5), strict=True)
    many = words(_result([_share_of(name, share) for name, share in shares]))
    assert many.startswith("Incidence: from 30 % (95 % CI 10–50 %) (b) to 60 % (95 % CI 40–80 %) (c), over 5 figures")


def test_nothing_known_and_nothing_at_all_are_answers():
    unknown = _result([_share_of(name, NAN, low=NAN, high=NAN, events=0) for name in "abcde"])
    assert "none can be given" in words(unknown)
    empty = _result([])
    assert words(empty).startswith("There are no figures to words.")
    for result in (unknown, empty):
        assert chart(result).alt and table(result).html


def test_it_can_be_drawn_for_one_column():
    assert chart(_result([_share_of("a"), _gap(1.5)]), width="column").fig.get_size_inches()[0] == 3.35
