import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.registry.defusing import defused, undefused


@pytest.mark.parametrize(
    ("text", "safe"),
    [
        ("=1+1", "'=1+1"),
        ("@x", "'@x"),
        ("+", "'+"),
        ("-5 ml", "'-5 ml"),
        ("-5", "-5"),
        ("+3.5", "+3.5"),
        ("'=", "''="),
        ("\tx", "'\tx"),
        ("snare", "snare"),
        ("", ""),
        ("'tis", "'tis"),
        ("＝x", "'＝x"),
    ],
)
def test_what_would_start_a_formula_gets_an_apostrophe(text, safe):
    assert defused(text) == safe


@given(st.text(alphabet="=+-@'\t\r\n1.5ax ＝", max_size=8))
@settings(deadline=None, derandomize=True, max_examples=300)
def test_any_text_comes_back_as_it_was(text):
    assert undefused(defused(text)) == text
    assert not defused(text).startswith(("=", "@", "\t", "\r"))
