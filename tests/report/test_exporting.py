from __future__ import annotations

import base64
import hashlib
import re
from pathlib import Path

import pytest

from builders.html import parsed, problems, table_of
from builders.notebooks import code, notebook, text
from necrostats import report
from necrostats.report.exporting import content, page, to_html
from necrostats.report.typography import CAUTIONS, SCROLL, STATUS, WHOLE

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


def clean(html, **options):
    return content(html, title="tiny", **{"cautions": False, **options})


@pytest.mark.parametrize(
    "html",
    [
        "<script>alert(1)</script>",
        "<style>p {}</style>",
        '<link rel="stylesheet" href="x.css">',
        '<iframe src="data:text/html,x"></iframe>',
        "<form><input></form>",
        '<object data="x"></object>',
    ],
)
def test_whatever_runs_or_loads_or_restyles_is_taken_out(html):
    tags = {element.tag for element in parsed(clean(f"<p>kept</p>{html}").html).all()}
    assert tags == {"h1", "p"}


def test_attributes_that_run_or_restyle_are_taken_out():
    page = clean('<p onclick="x()" style="color: red" class="kept" ONLOAD="y()">text</p>').html
    (paragraph,) = parsed(page).all("p")
    assert paragraph.attributes == {"class": "kept"}


@pytest.mark.parametrize("address", ["https://example.org", "//example.org", "javascript:alert(1)", "other.html"])
def test_a_link_that_leaves_the_page_becomes_its_text(address):
    page = clean(f'<p>See <a href="{address}">the paper</a>.</p>').html
    assert parsed(page).all("a") == []
    assert "See the paper." in page


def test_a_picture_that_would_be_fetched_becomes_its_description():
    page = clean('<p><img src="https://example.org/x.png" alt="A curve"></p>').html
    assert parsed(page).all("img") == []
    assert "A curve" in page


def test_a_picture_without_a_description_says_so():
    (picture,) = parsed(clean('<img src="data:image/png;base64,AA">').html).all("img")
    assert picture.attributes["alt"] == "No description has been provided for this image"


def test_there_is_one_h1_and_it_comes_first_with_the_period():
    inside = clean("<p>before</p><h1>Review</h1><h1>Again</h1>", period="2026Q3")
    root = parsed(inside.html)
    assert [each.text for each in root.all("h1")] == ["Review, 2026Q3"]
    assert root.children[0].tag == "h1"
    assert inside.title == "Review, 2026Q3"
    assert [each.text for each in root.all("h2")] == ["Again"]


def test_a_notebook_without_a_heading_is_headed_by_its_name():
    assert [each.text for each in parsed(clean("<p>x</p>").html).all("h1")] == ["tiny"]


def test_every_header_cell_gets_a_scope_and_keeps_the_one_it_has():
    html = """<table><thead><tr><th>a</th><th scope="colgroup">b</th></tr></thead>
    <tbody><tr><th>c</th><td>1</td></tr></tbody></table>"""
    scopes = {each.text: each.attributes["scope"] for each in parsed(clean(html).html).all("th")}
    assert scopes == {"a": "col", "b": "colgroup", "c": "row"}


def test_a_table_scrolls_in_a_box_named_after_its_caption_and_keeps_its_cells():
    html = "<table><caption>Cases &lt; 5</caption><tr><td>1</td><td>&amp;</td></tr></table>"
    (box,) = parsed(clean(html).html).all("div")
    assert box.attributes == {"class": "scroll", "role": "region", "tabindex": "0", "aria-label": "Cases < 5"}
    assert table_of(box.all("table")[0]) == [["1", "&"]]


def test_a_table_that_has_a_box_is_not_boxed_twice():
    assert len(parsed(clean('<div class="scroll"><table><tr><td>1</td></tr></table></div>').html).all("div")) == 1


def test_each_h2_opens_a_section_that_the_list_of_sections_names():
    inside = clean('<p>first</p><h2 id="x">One</h2><p>1</p><h3>deeper</h3><h2>Two</h2><p>2</p>')
    assert [(each.id, each.heading) for each in inside.sections] == [("section-1", "One"), ("section-2", "Two")]
    sections = parsed(inside.html).all("section")
    assert [each.text for each in sections] == ["One1deeper", "Two2"]
    assert [each.attributes["aria-labelledby"] for each in sections] == ["section-1", "section-2"]


def test_the_cautions_are_added_once_if_the_notebook_does_not_show_them():
    added = clean("<p>x</p>", cautions=True).html
    assert "not a medical device" in added
    assert clean(added, cautions=True).html.count("not a medical device") == 1


def test_a_range_stays_whole_in_text_and_cells_and_the_words_around_it_are_kept():
    html = "<p>5 % (95 % CI 0–17 %, was 0.3–5.4) in 2 of 34</p><table><tr><td>40–59</td></tr></table><pre>0–17 %</pre>"
    root = parsed(clean(html).html)
    whole = [each for each in root.all("span") if each.attributes.get("class") == "whole"]
    assert [each.text for each in whole] == ["0–17 %", "0.3–5.4", "40–59"]
    assert root.all("p")[0].text == "5 % (95 % CI 0–17 %, was 0.3–5.4) in 2 of 34"
    assert root.all("pre")[0].text == "0–17 %"


STYLE = (Path(report.__file__).parent / "page" / "page.css").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", [CAUTIONS, SCROLL, STATUS, WHOLE])
def test_the_style_sheet_knows_the_boxes_by_the_name_they_are_given(name):
    assert f".{name} {{" in STYLE


def test_a_table_of_ten_columns_of_small_numbers_fits_beside_the_list_of_sections():
    width = float(re.search(r"minmax\(0, (\d+)rem\)", STYLE)[1])
    least = float(re.search(r"tr:has\(th:nth-child\(9\)\) > th\.number \{ min-width: ([\d.]+)rem; \}", STYLE)[1])
    assert 9 * least + 12 <= width  # the first column holds words


def test_the_two_pictures_of_a_figure_share_a_box_named_after_its_caption():
    image = '<img class="{}" src="data:image/png;base64,x" alt="a"{}>'
    pictures = image.format("wide", "") + image.format("narrow", " hidden")
    page = content(
        f"<figure>{pictures}<figcaption>Time to resolution. 9 patients.</figcaption></figure>", title="T"
    ).html
    (box,) = [each for each in parsed(page).all("div") if each.attributes.get("role") == "region"]
    assert box.attributes["aria-label"] == "Figure: Time to resolution"
    assert [image.attributes["class"] for image in box.all("img")] == ["wide", "narrow"]
