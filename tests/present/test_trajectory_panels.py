from __future__ import annotations

from itertools import pairwise

import numpy as np

from necrostats.present.style import STYLES
from necrostats.present.trajectory_panels import Grid, Median, Panel, draw


def _median(day: float, count: int) -> Median:
    return Median(day=day, centre=day, estimate=50.0, low=20.0, high=90.0, count=count, shown=count >= 5)


def _grid(log: bool, panels: int = 1, counts=(150, 140, 130)) -> Grid:
    medians = tuple(_median(day, count) for day, count in zip((-7.0, 7.0, 21.0), counts, strict=True))
    panel = Panel(title="A", lines=(((0.0, 20.0), (400.0, 0.0)),), medians=medians, style=STYLES[0])
    return Grid(
        panels=(panel,) * panels, first_day=-14.0, ticks=(0, 14, 28, 180), most=400.0, log=log, y_label="Volume, ml",
        remarks=(),
    )  # fmt: skip


def test_a_logarithmic_place_is_a_power_of_ten_and_zero_lies_below_one():
    places = _grid(True).place([0, 0.5, 1, 10, 1000])
    assert places[0] < 0
    np.testing.assert_allclose(places[1:], [0, 0, 1, 3])
    np.testing.assert_array_equal(_grid(False).place([0, 40]), [0, 40])


def test_counts_under_narrow_windows_do_not_touch():
    sheet = draw(_grid(True), 3.35)
    counts = [text for text in sheet.texts if text.get_text() in ("150", "140", "130")]
    boxes = sorted((text.get_window_extent(sheet.canvas.get_renderer()) for text in counts), key=lambda box: box.x0)
    assert len(boxes) == 3
    assert all(left.x1 < right.x0 for left, right in pairwise(boxes))


def test_panels_stand_side_by_side_on_a_page_and_below_each_other_in_a_column():
    assert len({axes.get_position().y0 for axes in draw(_grid(False, 2), 7.0).axes}) == 1
    assert len({axes.get_position().y0 for axes in draw(_grid(False, 2), 3.35).axes}) == 2


def test_a_window_with_too_few_parts_the_median():
    thick = [line for line in draw(_grid(False, counts=(9, 2, 9)), 7.0).axes[0].lines if line.get_linewidth() > 2]
    assert [list(line.get_xdata()) for line in thick] == [[-7.0], [21.0]]
