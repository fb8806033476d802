import xml.etree.ElementTree as tree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from necrostats.visible import visible


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("plain", "plain"),
        ("67 % (54–69)", "67 % (54–69)"),
        ("nécrose · müde · 坏死", "nécrose · müde · 坏死"),
        ("a\u202eb", "a[U+202E]b"),
        ("\u2066x\u2069", "[U+2066]x[U+2069]"),
        ("a\x00b\x1b[31m", "a[U+0000]b[U+001B][31m"),
        ("two\nlines\tand a tab", "two\nlines\tand a tab"),
    ],
)
def test_what_cannot_be_seen_is_written_out_and_all_else_stays(text, shown):
    assert visible(text) == shown


@given(st.text(alphabet=st.characters(exclude_categories=("Cs",))))
def test_whatever_is_shown_can_stand_in_an_xml_file(text):
    element = tree.Element("t")
    element.text = visible(text)
    read = tree.fromstring(tree.tostring(element, encoding="utf-8")).text or ""
    assert read == element.text.replace("\r\n", "\n").replace("\r", "\n")
