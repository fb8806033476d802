from __future__ import annotations

import numpy as np

from necrostats.present.steps import Curve, Grid, Panel, RiskRow, _kept_ticks, _split, _vertices, draw
from necrostats.present.style import drawing, style_at

NAN = float("nan")


def _curve(**changes) -> Curve:
    given = {
        "label": "resolved",
        "style": style_at(0),
        "bold": True,
        "x": (0.0, 10.0, 30.0),
        "y": (0.1, 0.4, 0.6),
        "low": (NAN, 0.3, 0.5),
        "high": (NAN, 0.5, 0.7),
        "faint_from": float("inf"),
    }
    return Curve(**(given | changes))


def _grid(*curves: Curve, ticks=(0, 10, 30), counts=("20", "12", "4"), whole=False) -> Grid:
    risk = (RiskRow(label="At risk", counts=counts),)
    return Grid(
        panels=(Panel(title="", curves=curves, risk=risk),),
        ticks=ticks,
        horizon=float(ticks[-1]),
        whole=whole,
        x_label="Days",
        y_label="%",
        remarks=(),
    )


def test_a_curve_starts_at_zero_and_holds_each_value_until_the_next():
    x, y = _vertices(_curve(), (0.1, 0.4, 0.6), 30.5)
    assert list(zip(x, y, strict=True))[:2] == [(0.0, 0.0), (0.0, 0.0)]
    assert np.interp(9.9, x, y) == 0.1
    assert (x[-1], y[-1]) == (30.5, 0.6)


def test_a_curve_is_split_where_few_are_left_and_the_two_parts_meet():
    x, y = _vertices(_curve(), (0.1, 0.4, 0.6), 30.0)
    (x1, y1), (x2, y2) = _split(x, y, 20.0)
    assert (x1[-1], y1[-1]) == (x2[0], y2[0]) == (20.0, 0.4)
    assert len(_split(x, y, float("inf"))) == 1
    assert len(_split(x, y, float("-inf"))[0][0]) == 0


def test_the_numbers_at_risk_stand_under_their_ticks():
    with drawing():
        sheet = draw(_grid(_curve()), 7.0)
    axes = sheet.axes[0]
    place = {text.get_text(): text.get_position()[0] for text in sheet.texts}
    for tick, count in zip((0, 10, 30), ("20", "12", "4"), strict=True):
        on_paper = axes.transData.transform((tick, 0))[0] / sheet.dpi
        assert abs(place[count] - on_paper) < 0.01


def test_a_label_stands_at_the_end_of_its_line():
    with drawing():
        sheet = draw(_grid(_curve(label="resolved"), _curve(label="death", y=(0.0, 0.1, 0.2), style=style_at(1))), 7.0)
    heights = {text.get_text(): text.get_position()[1] for text in sheet.texts}
    assert heights["resolved"] > heights["death"]


def test_sessions_are_ticked_evenly_where_there_is_little_room():
    grid = _grid(_curve(), ticks=tuple(range(13)), counts=("142",) * 13, whole=True)
    kept = _kept_ticks(grid, 1.4)
    assert len(set(np.diff(kept))) == 1
    assert _kept_ticks(grid, 6.0) == tuple(range(13))


def test_days_keep_their_first_and_last_tick():
    grid = _grid(_curve(), ticks=(0, 30, 60, 90, 180), counts=("142",) * 5)
    kept = _kept_ticks(grid, 0.9)
    assert {0, 4} <= set(kept)
    assert len(kept) < 5
