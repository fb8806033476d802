from __future__ import annotations

import pandas as pd

from builders.results import NAN, method, note, population
from necrostats.measures.grouping import estimate_row, estimate_table
from necrostats.present import chart, table, words
from necrostats.results import Estimates


def _result(rows, groups=("all",), **more):
    return Estimates(
        title="Figures", frame=estimate_table(rows, groups=groups), population=population(), method=method(), **more
    )


def _share(variable, estimate=0.5, n=20, **more):
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
    figure = chart(_result([_share("a"), _share("b", 0.3), _gap(-1.5)]))
    assert len(figure.fig.axes) == 2
    shares, gaps = (axes.get_xlim() for axes in figure.fig.axes)
    assert 0 == shares[0] < 0.7 < shares[1] <= 1
    assert gaps[0] <= -2.5 and gaps[1] >= 0
    assert "sessions, 0 = no difference" in [axes.get_xlabel() for axes in figure.fig.axes] + _texts(figure)
    assert "Each panel has its own unit and scale" in figure.caption


def test_the_drawn_numbers_are_those_of_the_result():
    result = _result([_share("a"), _share("b", 0.3)])
    pd.testing.assert_frame_equal(chart(result).data, result.frame)


def test_too_few_are_counted_and_not_drawn():
    figure = chart(_result([_share("a"), _share("b", 0.5, n=4)]))
    assert figure.data["estimate"].isna().tolist() == [False, True]
    assert "too few" in _texts(figure)
    assert "2 / 4" in _texts(figure)


def test_groups_stand_under_the_name_of_the_variable():
    rows = [_share("follow-up", group="female"), _share("follow-up", group="male")]
    result = _result(rows, groups=("female", "male"))
    assert {"Follow-up", "female", "male"} <= set(_texts(chart(result)))
    assert list(table(result).frame["Group"]) == ["female", "male"]


def test_the_table_holds_every_row_with_what_it_rests_on_and_the_notes():
    shown = table(_result([_share("a"), _gap(1.5)], notes=(note("Look out"),)))
    assert list(shown.frame["Rests on"]) == ["10 / 20 patients", "40 patients"]
    assert list(shown.frame.iloc[:, -1]) == ["50 (30–70)", "1.50 (0.50–2.50)"]
    assert shown.notes == ("Look out.",)
    assert "<caption>" in shown.html


def test_a_few_figures_are_all_said_and_many_by_their_range():
    few = words(_result([_share("a"), _share("b", 0.3)]))
    assert few.startswith("Incidence: a 50 % (95 % CI 30–70 %), 10 of 20 patients; b 30 % (95 % CI 10–50 %), 6 of 20")
    shares = zip("abcde", (0.5, 0.3, 0.6, 0.4, 0.5), strict=True)
    many = words(_result([_share(name, share) for name, share in shares]))
    assert many.startswith("Incidence: from 30 % (95 % CI 10–50 %) (b) to 60 % (95 % CI 40–80 %) (c), over 5 figures")


def test_nothing_known_and_nothing_at_all_are_answers():
    unknown = _result([_share(name, NAN, low=NAN, high=NAN, events=0) for name in "abcde"])
    assert "none can be given" in words(unknown)
    empty = _result([])
    assert words(empty).startswith("There are no figures to words.")
    for result in (unknown, empty):
        assert chart(result).alt and table(result).html


def test_it_can_be_drawn_for_one_column():
    assert chart(_result([_share("a"), _gap(1.5)]), width="column").fig.get_size_inches()[0] == 3.35
