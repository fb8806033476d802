from __future__ import annotations

import re
from xml.etree import ElementTree

from builders.results import curves, rates
from necrostats.present import chart
from necrostats.present.svg import smaller


def test_the_smaller_drawing_is_well_formed_and_names_no_address_but_its_name_spaces():
    for result in (curves(), rates()):
        svg = chart(result).image("svg").decode()
        ElementTree.fromstring(svg)
        found = re.findall(r"https?://[^\"' >]+", svg)
        assert set(found) <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}


def test_numbers_keep_a_thousandth_of_a_point_and_glyphs_their_place():
    line = b'<use xlink:href="#DejaVuSans-41" transform="translate(63.476562 0)"/>'
    assert smaller(line) == b'<use x="63.477" xlink:href="#d41"/>'


def test_no_glyph_is_lost():
    svg = chart(rates()).image("svg").decode()
    used = set(re.findall(r'xlink:href="#([bd][0-9a-f]+)"', svg))
    assert used
    assert used <= set(re.findall(r'id="([bd][0-9a-f]+)"', svg))
