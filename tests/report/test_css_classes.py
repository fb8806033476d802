from __future__ import annotations

import re
from pathlib import Path

import pytest

from necrostats import report
from necrostats.report import css_classes

STYLE = (Path(report.__file__).parent / "page" / "page.css").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", [css_classes.CAUTIONS, css_classes.SCROLL, css_classes.STATUS, css_classes.WHOLE])
def test_the_style_sheet_knows_the_boxes_by_the_name_they_are_given(name):
    assert f".{name} {{" in STYLE


def test_names_are_plain_and_no_two_are_the_same():
    names = [value for key, value in vars(css_classes).items() if key.isupper()]
    assert sorted(names) == ["cautions", "lead", "scroll", "status", "whole"]


def test_a_table_of_ten_columns_of_small_numbers_fits_beside_the_list_of_sections():
    width = float(re.search(r"minmax\(0, (\d+)rem\)", STYLE)[1])
    least = float(re.search(r"tr:has\(th:nth-child\(9\)\) > th\.number \{ min-width: ([\d.]+)rem; \}", STYLE)[1])
    assert 9 * least + 12 <= width  # the first column holds words
