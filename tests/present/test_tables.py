from __future__ import annotations

import re
from html.parser import HTMLParser

import pandas as pd
import pytest

from builders.results import CASE_ROWS, COMPLETE_ROWS, comparison, curves, no_rates, rates, summary
from necrostats.errors import ChoiceError
from necrostats.present import Table, table

RESULTS = {
    "curves": curves(),
    "groups": curves(groups={"a": 40, "b": 30}),
    "rates": rates(),
    "comparison": comparison(),
    "means": summary(),
    "case mix": summary(CASE_ROWS),
    "completeness": summary(COMPLETE_ROWS),
    "empty": no_rates(),
}


class _Balance(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []

    def handle_starttag(self, tag, attrs) -> None:
        self.open.append(tag)

    def handle_endtag(self, tag) -> None:
        assert self.open.pop() == tag


@pytest.mark.parametrize("result", RESULTS.values(), ids=RESULTS)
def test_a_table_is_accessible_and_carries_no_script_or_style(result):
    page = table(result).html
    if len(table(result).frame):
        assert page.startswith("<table><caption>")
        assert re.search(r'<th scope="col"', page)
    assert "<script" not in page
    assert " style=" not in page
    parser = _Balance()
    parser.feed(page)
    assert parser.open == []


@pytest.mark.parametrize("result", RESULTS.values(), ids=RESULTS)
def test_every_row_has_as_many_cells_as_the_table_has_columns(result):
    shown = table(result)
    waiting = 0
    for row in re.findall(r"<tr>(.*?)</tr>", shown.html):
        cells = len(re.findall(r"<t[hd]\b", row)) + (waiting > 0)
        span = re.search(r'rowspan="(\d+)"', row)
        waiting = int(span[1]) - 1 if span else max(0, waiting - 1)
        assert cells == len(shown.frame.columns)


def test_numbers_are_marked_for_right_alignment_and_row_heads_are_not():
    page = table(rates()).html
    assert '<th scope="row">Bleeding</th>' in page
    assert '<td class="number">8 / 880, 0.9 %' in page


def test_markup_in_a_label_is_escaped_in_html_and_in_markdown():
    nasty = Table(caption="<b>", frame=pd.DataFrame({"a": ["<script>x</script> | y"], "b": ["1"]}), notes=("<i>",))
    assert "<script" not in nasty.html
    assert "<script" not in nasty.markdown
    assert r"\|" in nasty.markdown
    assert "&lt;i&gt;" in nasty.html


def test_markup_is_escaped_in_headings_in_every_row_head_and_in_cells():
    nasty = "<script>x</script>"
    frame = pd.DataFrame({f"{nasty}1": [nasty, nasty], f"{nasty}2": [nasty, "b"], "c": [nasty, "d"]})
    for heads in (1, 2):
        page = Table(caption=nasty, frame=frame, row_heads=heads, words=("c",)).html
        assert "<script" not in page
        assert page.count("&lt;script&gt;") >= 6


def test_markdown_has_caption_heading_rule_rows_and_notes():
    lines = table(summary()).markdown.split("\n")
    assert lines[0].startswith("Debridement yield.")
    assert lines[3] == "| --- | --- | ---: | ---: | ---: | ---: | ---: |"
    assert lines[-1].startswith("Too few")


def test_the_frame_holds_text_only():
    frame = table(curves()).frame
    assert all(isinstance(cell, str) for cell in frame.to_numpy().ravel())


def test_something_that_is_no_result_is_answered_with_how_to_get_one():
    with pytest.raises(ChoiceError, match="Ask a measure first"):
        table(3)


def test_the_interval_of_a_heading_stays_on_one_line_in_html_and_is_plain_text_elsewhere():
    shown = table(curves())
    tied = "(95\N{NO-BREAK SPACE}%\N{NO-BREAK SPACE}CI)"
    assert f"Resolved, % {tied}</th>" in shown.html
    for plain in (shown.markdown, shown.frame.to_csv(index=False)):
        assert "\N{NO-BREAK SPACE}CI" not in plain
        assert "Resolved, % (95 % CI)" in plain


def test_a_table_without_a_row_is_its_caption_and_its_notes():
    empty = Table(caption="Nobody.", frame=pd.DataFrame(columns=["A", "B"]), notes=("None recorded.",))
    assert empty.html == '<div class="table-notes"><p>Nobody.</p><p>None recorded.</p></div>'
