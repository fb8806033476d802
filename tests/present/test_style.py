from __future__ import annotations

import matplotlib
import pytest

from builders.results import curves
from necrostats.errors import ChoiceError
from necrostats.present import chart
from necrostats.present.style import STYLES, PrintStyle, check_dpi, check_millimetres, drawing, style_among


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


def test_a_space_before_a_percent_sign_is_kept_whole_or_left_out_and_nothing_else_is_touched():
    text = "62 % (54\N{NO-BREAK SPACE}%), k / n, % of 3"
    assert PrintStyle().text(text) == "62\N{NO-BREAK SPACE}% (54\N{NO-BREAK SPACE}%), k / n, % of 3"
    assert PrintStyle(percent_space=False).text(text) == "62% (54%), k / n, % of 3"


@pytest.mark.parametrize("font", ["", "<w:t>", "a" * 70, " Arial", "Arial;x"])
def test_what_is_no_name_of_a_font_is_refused(font):
    with pytest.raises(ChoiceError, match="not the name of a font"):
        PrintStyle(font=font)


@pytest.mark.parametrize(
    ("width", "fits"), [(19.9, False), (20, True), (85, True), (178, True), (500, True), (500.1, False)]
)
def test_a_width_lies_on_some_page(width, fits):
    if fits:
        assert check_millimetres(width) == width
    else:
        with pytest.raises(ChoiceError, match="85"):
            check_millimetres(width)


@pytest.mark.parametrize(
    ("dpi", "fits"), [(49, False), (50, True), (2400, True), (2401, False), (300.5, False), (True, False)]
)
def test_a_resolution_is_a_whole_number_a_printer_has(dpi, fits):
    if fits:
        assert check_dpi(dpi) == dpi
    else:
        with pytest.raises(ChoiceError, match="dpi"):
            check_dpi(dpi)
