from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.patches import Rectangle

from necrostats.present.stack_drawing import Band, Stack, Stacks, draw

STACK = Stack(
    title="all", x=(0, 1, 2), bands=(Band(heights=(0.1, 0.3, 0.5)), Band(heights=(0.0, 0.1, 0.2))), ticks=(0, 1, 2),
    at_risk=("20", "18", "9"),
)  # fmt: skip
GRID = Stacks(
    stacks=(STACK,), names=("resolved", "death", "still under treatment"), whole=True, x_label="necrosectomies",
    remarks=("A remark.",),
)  # fmt: skip


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
    assert all(text.get_position()[1] / narrow.get_size_inches()[1] > top
               for text in narrow.texts if text.get_text() in ("resolved", "death"))  # fmt: skip


def test_no_group_at_all_still_gives_a_sheet_with_its_key_and_remark():
    sheet = draw(replace(GRID, stacks=()), 7.0)
    assert sheet.axes == []
    assert {"resolved", "death", "necrosectomies", "A remark."} <= set(_words(sheet))
