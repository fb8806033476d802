from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from builders.results import NAN, curves, exact_curves
from necrostats.errors import ChoiceError
from necrostats.present import chart

START = ("all", "resolved", 0, 20, 0, 0, 0.0, NAN, NAN)


def _texts(figure) -> str:
    return " | ".join(text.get_text() for text in figure.fig.texts).replace("\N{NO-BREAK SPACE}", " ")


def test_one_group_shows_every_cause_and_the_main_one_in_bold():
    figure = chart(curves())
    weights = {text.get_text().split(",")[0]: text.get_fontweight() for text in figure.fig.texts}
    assert weights["resolved"] == "bold"
    assert weights["death"] == weights["surgery"] == "normal"
    assert "resolved, n = 142" in _texts(figure)
    assert set(figure.data["cause"]) == {"resolved", "death", "surgery"}


def test_several_groups_show_the_main_cause_and_a_risk_row_each():
    figure = chart(curves(groups={"cap_suction": 45, "snare": 62}))
    assert "cap suction, n = 45" in _texts(figure)
    assert "snare, n = 62" in _texts(figure)
    assert set(figure.data["cause"]) == {"resolved"}
    assert len(figure.fig.axes) == 1


def test_another_cause_can_be_drawn_and_an_unknown_one_is_refused():
    result = curves(groups={"a": 45, "b": 62})
    assert set(chart(result, cause="death").data["cause"]) == {"death"}
    with pytest.raises(ChoiceError, match="resolved, death, surgery"):
        chart(result, cause="discharge")


def test_more_than_five_groups_are_drawn_in_panels_of_their_own():
    figure = chart(curves(groups={f"unit {place}": 8 + 6 * place for place in range(12)}))
    assert len(figure.fig.axes) == 12
    assert "unit 11, n = 74" in _texts(figure)


@pytest.mark.parametrize(("n", "drawn"), [(3, False), (9, False), (10, True), (11, True)])
def test_a_group_of_fewer_than_ten_is_named_but_not_drawn(n, drawn):
    figure = chart(curves(groups={"snare": 62, "forceps": n}))
    assert ("forceps" in set(figure.data["group"])) is drawn
    remark = f"Forceps: {n} patients, too few for a curve"
    assert (remark in _texts(figure)) is not drawn and (remark in figure.caption) is not drawn


def test_where_no_group_has_ten_a_sentence_stands_in_place_of_the_axes():
    figure = chart(curves(groups={"all": 9}))
    assert not figure.fig.axes and figure.data.empty and figure.caption == ""
    assert "9 patients, too few for a curve" in _texts(figure)


def test_a_group_with_nobody_in_it_is_still_named():
    figure = chart(curves(groups={"snare": 62}, categories=["snare", "basket"]))
    assert "Basket: nobody at risk" in _texts(figure)


def test_the_figure_says_where_fewer_than_ten_are_at_risk():
    assert "Faint: fewer than 10 at risk" in _texts(chart(curves(groups={"all": 17})))
    rows = [("all", "resolved", day, 50, 1, 0, day / 100, 0.0, day / 90) for day in (0, 30, 60, 90)]
    assert "Faint" not in _texts(chart(exact_curves(rows)))


def test_the_drawn_numbers_are_those_of_the_result():
    result = curves()
    data = chart(result).data
    both = data.merge(result.frame, on=["group", "cause", "days"], suffixes=("", "_given"))
    assert len(both) == len(data)
    pd.testing.assert_series_equal(both["estimate"], both["estimate_given"], check_names=False)
    assert {0, 30, 60, 90, 180} <= set(data["days"])


def test_sessions_are_ticked_at_whole_numbers():
    axes = chart(curves(axis="sessions")).fig.axes[0]
    assert list(axes.get_xticks()) == [0, 1, 2, 3, 4, 5, 6]
    assert axes.get_xlim()[1] == 6.5


def test_incidence_is_drawn_from_0_to_100_percent():
    axes = chart(curves()).fig.axes[0]
    assert axes.get_ylim() == (0, 1)
    assert [label.get_text() for label in axes.get_yticklabels()][-1] == "100 %"


@pytest.mark.parametrize(
    "result",
    [
        curves(groups={"all": 1}),
        exact_curves([], landmarks=()),
        exact_curves([START, ("all", "resolved", 90, 20, 0, 20, NAN, NAN, NAN)]),
        exact_curves([START, ("all", "resolved", 90, 0, 0, 20, 0.0, NAN, NAN)]),
        curves(groups={"x" * 90: 40, "a label of many words that goes on and on and never ends": 30}),
        curves(groups={"$x_1$ 壊死 <b>": 40}),
    ],
    ids=["one patient", "empty", "nothing known", "all censored", "long labels", "odd letters"],
)
@pytest.mark.parametrize("width", ["page", "column"])
def test_awkward_results_still_give_a_figure(result, width):
    figure = chart(result, width=width)
    assert figure.alt
    assert figure.image("png", width=width, dpi=30).startswith(b"\x89PNG")


@pytest.mark.parametrize("width", ["page", "column"])
def test_no_text_leaves_the_sheet(width):
    for result in (curves(), curves(groups={"x" * 90: 40, "percutaneous drain first": 30}), curves(axis="sessions")):
        sheet = chart(result, width=width).fig
        frame = sheet.bbox
        for text in sheet.texts:
            box = text.get_window_extent(sheet.canvas.get_renderer())
            assert box.x0 >= frame.x0 - 1
            assert box.x1 <= frame.x1 + 1
            assert box.y0 >= frame.y0 - 1
            assert box.y1 <= frame.y1 + 1


def test_the_caption_says_once_that_each_patient_counts_once():
    assert chart(curves()).caption.count("Each patient counts once, at the first end.") == 1
    assert "died first" in chart(curves()).alt


def _ends(death):
    """Forty patients, of whom a share dies by day 60 and half have resolved by day 90."""
    shares = {"resolved": ((0, 0.0), (60, 0.0), (90, 0.5)), "death": ((0, 0.0), (60, death), (90, death))}
    at_risk = {0: 40, 60: 40, 90: 31}
    return exact_curves(
        [
            ("all", cause, day, at_risk[day], 0, 0, share, max(share - 0.05, 0), share + 0.05)
            for cause, steps in shares.items()
            for day, share in steps
        ]
    )


@pytest.mark.parametrize(("death", "panels"), [(0.19, 2), (0.2, 2), (0.21, 1)])
def test_rare_competing_ends_have_a_scale_of_their_own(death, panels):
    axes = chart(_ends(death)).fig.axes
    assert len(axes) == panels
    assert axes[-1].get_ylim()[1] == (0.3 if panels == 2 else 1)


def test_ticks_lie_evenly_and_count_who_was_at_risk_just_before_each():
    texts = _texts(chart(replace(_ends(0.1), landmarks=(30, 60, 90))))
    assert "At risk | 40 | 40 | 40 | 31" in texts
