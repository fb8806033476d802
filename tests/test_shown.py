from __future__ import annotations

import re

from builders.html import parsed
from necrostats.shown import ROOT, STYLE, framed


def test_what_is_shown_stands_in_one_frame_after_its_style():
    root = parsed(framed("<p>said</p>"))
    (frame,) = root.all("div")
    assert frame.attributes == {"class": ROOT}
    assert frame.text == "said"


def test_the_style_speaks_of_nothing_outside_the_frame():
    rules = re.sub(r"@media [^{]*", "", STYLE)
    for selector in re.findall(r"([^{}]+)\{", rules):
        assert all(each.strip().startswith(f"div.{ROOT}") for each in selector.split(",") if each.strip()), selector


def test_no_colour_of_text_is_fixed_so_that_day_and_night_can_both_be_read():
    colours = re.findall(r"(?<![-\w])color:\s*([^;]+);", STYLE)
    assert colours and all(each.startswith(("var(", "inherit")) for each in colours)
    assert "prefers-color-scheme: dark" in STYLE


def test_nothing_in_the_style_comes_from_outside():
    assert "url(" not in STYLE and "@import" not in STYLE and "http" not in STYLE
