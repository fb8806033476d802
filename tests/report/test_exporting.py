from __future__ import annotations

import base64
import hashlib
import re

import pytest

from builders.html import parsed, problems
from builders.notebooks import code, notebook, text
from necrostats.report.exporting import page, to_html

PICTURE = '<figure><img alt="Up" src="data:image/png;base64,AAAA"><figcaption>Rate &amp; n</figcaption></figure>'


@pytest.fixture(scope="module")
def shown():
    cells = (
        text("# Review\n\nSee [here](https://example.org)."),
        text("## Events\n\nCounted *once*. It costs $5 to $10.\n\n<script>alert(1)</script>"),
        code("chart(events)", shows=PICTURE),
        code("table(events)", shows="<table><tr><th>n</th><td>5</td></tr></table>"),
    )
    return to_html(notebook(*cells), title="tiny", period="2026Q3")


def test_the_page_has_no_script_no_outside_address_and_can_be_read_aloud(shown):
    assert problems(shown) == []


def test_the_page_says_its_language_its_title_and_its_sections(shown):
    root = parsed(shown)
    assert root.all("html")[0].attributes == {"lang": "en-GB"}
    assert root.all("title")[0].text == "Review, 2026Q3"
    assert [each.text for each in root.all("nav")[0].all("a")] == ["Events"]


def test_the_policy_allows_only_this_style_sheet_and_pictures_in_the_page(shown):
    root = parsed(shown)
    (policy,) = [each for each in root.all("meta") if each.attributes.get("http-equiv") == "Content-Security-Policy"]
    style = re.search("<style>(.*)</style>", shown, re.DOTALL)[1]
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    rules = policy.attributes["content"].split("; ")
    assert rules[:3] == ["default-src 'none'", "img-src data:", f"style-src 'sha256-{digest}'"]


def test_outputs_come_in_the_order_of_the_cells_without_code_prompts_or_anchors(shown):
    main = parsed(shown).all("main")[0]
    assert [each.tag for each in main.all("h1", "h2", "img", "table")] == ["h1", "h2", "img", "table"]
    for left in ("table(", "In [", "Out[", "¶", "source: str"):
        assert left not in shown
    assert "It costs $5 to $10." in main.text


def test_code_is_shown_when_asked_for_but_never_the_values_given():
    shown = to_html(notebook(code("chart(a < b)", shows="<p>x</p>")), title="tiny", show_code=True)
    assert [each.text for each in parsed(shown).all("code")][-1] == "chart(a < b)"


def test_the_same_notebook_gives_the_same_bytes(shown):
    book = notebook(code("chart(events)", shows=PICTURE))
    assert to_html(book, title="tiny") == to_html(book, title="tiny")


def test_a_title_is_text_and_not_markup():
    assert "<title>a &lt; b</title>" in page(title="a < b", body="<h1>x</h1>")


def test_plain_text_and_warnings_of_a_cell_do_not_become_markup():
    from nbformat.v4 import new_output

    cell = code("print(1)")
    cell.outputs = [
        new_output("stream", name="stdout", text="<b>1</b>"),
        new_output("stream", name="stderr", text="/home/somebody/x.py: a warning"),
        new_output("execute_result", {"text/plain": "<Thing>"}),
    ]
    shown = to_html(notebook(cell), title="tiny")
    assert [each.text for each in parsed(shown).all("pre")] == ["<b>1</b>", "<Thing>"]
    assert "somebody" not in shown
