from __future__ import annotations

import matplotlib
import pytest

from builders.results import curves
from necrostats.present import chart
from necrostats.present.style import STYLES, drawing, style_among


def _contrast_with_white(colour: str) -> float:
    channels = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    light = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return 1.05 / (light + 0.05)


@pytest.mark.parametrize("style", STYLES)
def test_each_colour_stands_out_from_white(style):
    """At least 3:1: W3C, Web Content Accessibility Guidelines 2.1 (2018), 1.4.11 (from memory)."""
    assert _contrast_with_white(style.colour) >= 3.0


def test_each_style_has_a_line_and_a_marker_of_its_own():
    assert len({style.marker for style in STYLES}) == len(STYLES)
    assert len({str(style.line) for style in STYLES}) == len(STYLES)


def test_more_groups_than_styles_all_look_alike():
    groups = list("abcdef")
    assert {style_among(groups, group) for group in groups} == {STYLES[0]}
    assert style_among(groups[:5], "b") == STYLES[1]


def test_drawing_leaves_the_settings_of_the_reader_alone(monkeypatch):
    monkeypatch.setitem(matplotlib.rcParams, "font.size", 31.0)
    before = dict(matplotlib.rcParams)
    chart(curves()).image("png", dpi=40)
    assert dict(matplotlib.rcParams) == before


def test_the_settings_of_the_reader_do_not_change_a_figure(monkeypatch):
    plain = chart(curves()).image("svg")
    monkeypatch.setitem(matplotlib.rcParams, "font.size", 31.0)
    monkeypatch.setitem(matplotlib.rcParams, "lines.linewidth", 9.0)
    assert chart(curves()).image("svg") == plain


def test_settings_are_put_back_after_an_error():
    before = matplotlib.rcParams["font.size"]
    with pytest.raises(ZeroDivisionError), drawing():
        _ = 1 / 0
    assert matplotlib.rcParams["font.size"] == before
