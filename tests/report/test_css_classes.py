from __future__ import annotations

from pathlib import Path

import pytest

from necrostats import report
from necrostats.report import css_classes

STYLE = (Path(report.__file__).parent / "page" / "page.css").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", [css_classes.CAUTIONS, css_classes.SCROLL, css_classes.STATUS])
def test_the_style_sheet_knows_the_boxes_by_the_name_they_are_given(name):
    assert f".{name} {{" in STYLE


def test_names_are_plain_and_no_two_are_the_same():
    names = [value for key, value in vars(css_classes).items() if key.isupper()]
    assert sorted(names) == ["cautions", "lead", "scroll", "status"]
