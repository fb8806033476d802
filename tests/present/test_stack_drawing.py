from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.patches import Rectangle

from builders.results import NAN, curves, exact_curves
from necrostats.errors import ChoiceError
from necrostats.present import chart
from necrostats.present.stack_drawing import Band, Stack, Stacks, draw

STACK = Stack(
    title="all",
    x=(0, 1, 2),
    bands=(Band(heights=(0.1, 0.3, 0.5)), Band(heights=(0.0, 0.1, 0.2))),
    ticks=(0, 1, 2),
    at_risk=("20", "18", "9"),
)
GRID = Stacks(
    stacks=(STACK,),
    names=("resolved", "death", "still under treatment"),
    whole=True,
    x_label="necrosectomies",
    remarks=("A remark.",),
)


def _words(sheet):
    return [text.get_text() for text in sheet.texts]


def test_bars_lie_on_each_other_and_a_frame_reaches_to_one():
    [axes] = draw(GRID, 7.0).axes
    resolved, death, frame = axes.containers
    assert [bar.get_height() for bar in resolved] == pytest.approx([0.1, 0.3, 0.5])
    assert [bar.get_y() for bar in death] == pytest.approx([0.1, 0.3, 0.5])
    assert [bar.get_height() for bar in death] == pytest.approx([0, 0.1, 0.2])
    assert [bar.get_height() for bar in frame] == [1, 1, 1]
    assert axes.get_xlim() == (-0.5, 2.5) and axes.get_ylim() == (0, 1)


def test_areas_step_after_each_day_and_run_from_0_to_the_last_tick():
    days = replace(STACK, x=(0, 10, 30), ticks=(0, 30, 60))
    [axes] = draw(replace(GRID, whole=False, stacks=(days,)), 7.0).axes
    assert axes.get_xlim() == (0, 60)
    tops = [line.get_ydata().tolist() for line in axes.lines]
    assert tops == [pytest.approx([0.1, 0.3, 0.5]), pytest.approx([0.1, 0.4, 0.7])]
    assert {line.get_drawstyle() for line in axes.lines} == {"steps-post"}


def test_the_key_names_what_remains_first_in_white_and_each_band_in_its_own_look():
    sheet = draw(GRID, 7.0)
    names = [text for text in _words(sheet) if text in ("resolved", "death", "still under", "still under treatment")]
    assert names[-2:] == ["death", "resolved"]
    samples = [artist for artist in sheet.artists if isinstance(artist, Rectangle)]
    assert len(samples) == 3
    assert np.allclose(samples[0].get_facecolor(), (1, 1, 1, 1))
    assert (samples[1].get_hatch(), samples[2].get_hatch()) == ("////", "")


def test_numbers_at_risk_that_would_touch_are_left_out():
    assert [each for each in _words(draw(GRID, 7.0)) if each.isdigit()] == ["20", "18", "9"]
    crowded = replace(STACK, ticks=tuple(range(60)), at_risk=("1234",) * 60)
    counts = _words(draw(replace(GRID, stacks=(crowded,)), 7.0)).count("1234")
    assert 5 < counts < 30


def test_a_narrow_sheet_has_one_column_and_its_key_above():
    three = replace(GRID, stacks=(STACK,) * 3)
    wide, narrow = draw(three, 7.0), draw(three, 3.35)
    assert len({round(axes.get_position().x0, 3) for axes in wide.axes}) == 3
    assert len({round(axes.get_position().x0, 3) for axes in narrow.axes}) == 1
    assert narrow.get_size_inches()[1] > wide.get_size_inches()[1]
    top = max(axes.get_position().y1 for axes in narrow.axes)
    assert all(
        text.get_position()[1] / narrow.get_size_inches()[1] > top
        for text in narrow.texts
        if text.get_text() in ("resolved", "death")
    )


def test_no_group_at_all_still_gives_a_sheet_with_its_key_and_remark():
    sheet = draw(replace(GRID, stacks=()), 7.0)
    assert sheet.axes == []
    assert {"resolved", "death", "necrosectomies", "A remark."} <= set(_words(sheet))


def _texts(figure):
    return [text.get_text().replace("\N{NO-BREAK SPACE}", " ") for text in figure.fig.texts]


def _bars(axes):
    """The heights of the bars, band by band from the bottom."""
    return [[bar.get_height() for bar in container] for container in axes.containers]


def test_bars_by_session_are_the_shares_of_the_result_on_top_of_each_other():
    result = curves(axis="sessions")
    axes = chart(result, stacked=True).fig.axes[0]
    bands = _bars(axes)
    for place, cause in enumerate(("resolved", "death", "surgery")):
        shares = result.frame[result.frame["cause"] == cause]["estimate"].to_numpy()
        assert bands[place] == pytest.approx(shares)
    bottoms = [bar.get_y() for bar in axes.containers[1]]
    assert bottoms == pytest.approx(bands[0])


def test_ends_are_told_apart_by_hatching_and_named_in_the_order_in_which_they_lie():
    figure = chart(curves(axis="sessions"), stacked=True)
    hatches = [container[0].get_hatch() for container in figure.fig.axes[0].containers[:3]]
    assert len(set(hatches)) == 3
    names = [text for text in _texts(figure) if text in ("resolved", "death", "surgery", "still under treatment")]
    assert names == ["still under treatment", "surgery", "death", "resolved"]
    assert "From the bottom: resolved, death, surgery, still under treatment" in figure.caption


def test_areas_over_days_end_at_the_last_landmark_and_start_at_0():
    axes = chart(curves(), stacked=True).fig.axes[0]
    assert axes.get_xlim() == (0, 180)
    assert [label.get_text() for label in axes.get_xticklabels()] == ["0", "30", "60", "90", "180"]
    assert axes.get_ylim() == (0, 1)


def test_groups_have_a_panel_each_and_small_ones_are_named_only():
    figure = chart(curves(groups={"a": 40, "b": 30, "c": 3}), stacked=True)
    assert len(figure.fig.axes) == 2
    assert "a, n = 40" in _texts(figure)
    assert "C: 3 patients, too few for a figure" in _texts(figure)
    assert set(figure.data["group"]) == {"a", "b"}


def test_what_is_beyond_the_data_is_not_drawn():
    rows = [("all", "resolved", day, 19 - day // 30, 1, 0, share, NAN, NAN) for day, share in ((0, 0.0), (30, 0.4))]
    rows.append(("all", "resolved", 60, 0, 0, 0, NAN, NAN, NAN))
    figure = chart(exact_curves(rows, landmarks=(30, 60)), stacked=True)
    assert figure.data["days"].tolist() == [0, 30]
    assert figure.fig.axes[0].lines[0].get_xdata().max() == 30


def test_numbers_at_risk_stand_under_the_ticks():
    result = curves(axis="sessions")
    at_risk = result.frame[result.frame["cause"] == "resolved"]["at_risk"].astype(str).tolist()
    shown = _texts(chart(result, stacked=True))
    assert set(at_risk) <= set(shown)


@pytest.mark.parametrize("result", [exact_curves([], landmarks=()), curves(groups={"all": 2})])
def test_nobody_or_a_handful_gives_an_answer(result):
    figure = chart(result, stacked=True)
    assert figure.alt
    assert len(figure.fig.axes) == 0


@pytest.mark.parametrize("width", ["page", "column"])
@pytest.mark.slow
def test_it_is_drawn_the_same_on_every_run_at_both_widths(width):
    one, two = (chart(curves(groups={"a": 40, "b": 30}), stacked=True, width=width).image("svg") for _ in range(2))
    assert one == two


def test_curves_that_are_no_shares_of_a_whole_are_refused():
    with pytest.raises(ChoiceError, match="cannot be stacked"):
        chart(replace(curves(), falling=True), stacked=True)


def test_a_curve_of_those_still_free_starts_at_100_percent():
    line = chart(replace(curves(), falling=True)).fig.axes[0].lines[0]
    assert line.get_ydata()[0] == 1
    assert np.isclose(chart(curves()).fig.axes[0].lines[0].get_ydata()[0], 0)
