from __future__ import annotations

import pytest

from necrostats.present.drawing import Scale
from necrostats.present.forest import Mark, Panel, Row, draw
from necrostats.present.style import STYLES

NAN = float("nan")
SCALE = Scale(label="ratio", low=0.0, high=10.0, reference=1.0)


def _mark(estimate, low, high, **look):
    return Mark(estimate=estimate, low=low, high=high, style=STYLES[0], **look)


def _panel(*marks, columns=("n", "ratio"), texts=("12", "2 (1–4)"), **more):
    rows = tuple(Row(label=f"row {place}", marks=(mark,), texts=texts) for place, mark in enumerate(marks))
    return Panel(heading="Ratios", columns=columns, rows=rows, scale=SCALE, **more)


def _words(sheet):
    return [text.get_text() for text in sheet.texts]


def _points(axes):
    """(x, marker, face) of every single mark drawn, but for the ends of intervals."""
    return [
        (line.get_xdata()[0], line.get_marker(), line.get_markerfacecolor())
        for line in axes.lines
        if len(line.get_xdata()) == 1 and line.get_zorder() == 3
    ]


def test_a_mark_stands_at_its_estimate_between_its_limits_and_hollow_where_nothing_happened():
    axes = draw((_panel(_mark(2, 1, 4), _mark(0, 0, 3, hollow=True)),), 7.0).axes[0]
    assert _points(axes) == [(2, "o", STYLES[0].colour), (0, "o", "white")]
    across = [line for line in axes.lines if len(line.get_xdata()) == 2 and line.get_zorder() == 2]
    intervals = [tuple(line.get_xdata()) for line in across]
    assert intervals == [(1, 4), (0, 3)]
    assert axes.get_xlim() == (0, 10)


def test_what_lies_beyond_the_scale_is_drawn_as_an_arrow_at_its_end_and_the_panel_knows():
    panel = _panel(_mark(2, 1, 40), _mark(20, 15, 30))
    assert panel.cuts and not _panel(_mark(2, 1, 4)).cuts
    axes = draw((panel,), 7.0).axes[0]
    assert [(x, marker) for x, marker, _ in _points(axes)] == [(2, "o"), (10, ">")]
    ends = [(line.get_xdata()[0], line.get_marker()) for line in axes.lines if line.get_marker() in "<>|"]
    assert (1, "|") in ends and (10, ">") in ends


def test_a_mark_without_a_value_draws_nothing_and_a_panel_without_marks_has_no_axes():
    axes = draw((_panel(_mark(NAN, NAN, NAN)),), 7.0).axes[0]
    assert _points(axes) == []
    heading = Panel(heading="Nothing", columns=(), rows=(Row(label="nobody"),), scale=SCALE)
    assert not heading.drawn and not heading.cuts
    sheet = draw((heading,), 7.0)
    assert sheet.axes == []
    assert _words(sheet) == ["Nothing", "nobody"]


def test_texts_stand_beside_each_other_on_a_page_and_under_each_other_where_there_is_no_room():
    columns, texts = ("events / n of many", "% (95 % CI) wide"), ("1,234 / 5,678", "21.7 % (20.6–22.8)")
    panel = _panel(_mark(2, 1, 4), columns=columns, texts=texts)

    def heights(width):
        placed = {text.get_text(): text.get_position()[1] for text in draw((panel,), width).texts}
        return [placed[each] for each in (*columns, *texts)]

    wide, narrow = heights(7.0), heights(3.35)
    assert wide[0] == wide[1] and wide[2] == wide[3]
    assert narrow[0] > narrow[1] and narrow[2] > narrow[3]


def test_panels_stand_under_each_other_and_the_sheet_is_as_high_as_they_need():
    one, two = (draw((_panel(_mark(2, 1, 4)),) * count, 7.0) for count in (1, 2))
    assert [len(each.axes) for each in (one, two)] == [1, 2]
    upper, lower = (axes.get_position().y0 for axes in two.axes)
    assert upper > lower
    heights = [each.get_size_inches()[1] for each in (one, two)]
    assert heights[1] == pytest.approx(2 * heights[0] - 0.12 + 0.1)
