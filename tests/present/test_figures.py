from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pandas as pd
import pytest

from builders.results import CASE_ROWS, COMPLETE_ROWS, comparison, curves, rates, summary
from necrostats.errors import ChoiceError
from necrostats.present import Figure, chart
from necrostats.present.figures import smaller

ROOT = Path(__file__).parents[2]
RESULTS = {
    "curves": curves(),
    "sessions": curves(axis="sessions"),
    "rates": rates(),
    "comparison": comparison(),
    "means": summary(),
    "case mix": summary(CASE_ROWS),
    "completeness": summary(COMPLETE_ROWS),
}
HASHES = """
import hashlib, sys
sys.path.insert(0, "tests")
from builders.results import curves, summary
from necrostats.present import chart
for result in (curves(groups={"a": 40, "b": 30}), summary()):
    figure = chart(result)
    for content in (*(figure.image(kind, dpi=40) for kind in ("svg", "png", "pdf")), figure._repr_html_().encode()):
        print(hashlib.sha256(content).hexdigest())
"""


def _run(code: str, seed: str = "0") -> str:
    made = subprocess.run(
        [sys.executable, "-W", "error", "-c", code],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
        env={"PYTHONHASHSEED": seed, "PATH": "", "HOME": str(Path.home())},
    )
    return made.stdout


@pytest.mark.slow
def test_every_image_is_the_same_bytes_on_every_run():
    first = _run(HASHES, "1")
    assert len(set(first.split())) == 8
    assert _run(HASHES, "2") == first


def test_an_image_carries_no_date_and_no_maker():
    figure = chart(rates())
    for kind in ("svg", "png", "pdf"):
        content = figure.image(kind, dpi=40)
        assert b"atplotlib v" not in content
        assert b"CreationDate" not in content
        assert b"dc:date" not in content


@pytest.mark.parametrize("kind", ["svg", "png", "pdf"])
@pytest.mark.parametrize("width", ["column", "page"])
def test_a_figure_is_saved_by_its_ending_at_both_widths(tmp_path, kind, width):
    target = chart(rates()).save(tmp_path / f"figure.{kind}", width=width)
    starts = {"svg": b"<?xml", "png": b"\x89PNG", "pdf": b"%PDF"}
    assert target.read_bytes().startswith(starts[kind])
    assert [path.name for path in tmp_path.iterdir()] == [target.name]


def test_letters_keep_their_size_in_one_column():
    svg = chart(curves()).image("svg", width="column").decode()
    assert 'width="241.2pt"' in svg
    assert "scale(0.075 -0.075)" in svg


def test_an_unknown_width_or_ending_is_answered_with_the_list(tmp_path):
    with pytest.raises(ChoiceError, match="column, page"):
        chart(rates()).save(tmp_path / "f.svg", width="poster")
    with pytest.raises(ChoiceError, match="svg, pdf, png"):
        chart(rates()).save(tmp_path / "f.bmp")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("result", RESULTS.values(), ids=RESULTS)
def test_a_notebook_shows_a_figure_with_alternative_text_caption_and_numbers(result):
    page = chart(result)._repr_html_()
    assert '<div class="necrostats"><figure><img ' in page
    assert re.search(r'<img src="data:image/svg\+xml;base64,[A-Za-z0-9+/=]+" alt="[^"]+"', page)
    assert "<figcaption>" in page
    assert '<th scope="col">' in page
    assert '<th scope="row">' in page
    assert "<script" not in page
    assert "http" not in page
    assert " style=" not in page


def test_the_alternative_text_holds_the_finding():
    alt = chart(rates()).alt
    assert "11 of 235 patients (4.7 %, 95 % CI 2.4–8.2 %)" in alt


def test_a_figure_without_alternative_text_cannot_be_made():
    with pytest.raises(ValueError, match="alternative text"):
        Figure(fig=chart(rates()).fig, alt=" ", caption="", data=pd.DataFrame())


def test_labels_with_markup_are_escaped():
    nasty = '<script>alert("x")</script>'
    page = chart(curves(groups={nasty: 30, "b & c": 20}))._repr_html_()
    assert "<script" not in page
    assert "&lt;script&gt;" in page


def test_a_notebook_is_given_a_page_and_text_and_an_image_only_when_asked():
    figure = chart(comparison())
    assert set(figure._repr_mimebundle_()) == {"text/html", "text/plain"}
    assert set(figure._repr_mimebundle_(include=["image/png"])) == {"image/png"}
    assert figure._repr_mimebundle_()["text/plain"] == figure.alt


def test_something_that_is_no_result_is_answered_with_how_to_get_one():
    with pytest.raises(ChoiceError, match="Ask a measure first"):
        chart("a sentence")


def test_presenting_needs_neither_pyplot_nor_seaborn():
    loaded = _run("import necrostats.present, sys; print('seaborn' in sys.modules, 'matplotlib.pyplot' in sys.modules)")
    assert loaded.split() == ["False", "False"]


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


def test_a_figure_carries_the_same_drawing_for_a_narrow_screen_hidden_until_a_page_shows_it():
    page = chart(rates())._repr_html_()
    wide, narrow = re.findall(r"<img [^>]*>", page)
    assert 'class="wide"' in wide and "hidden" not in wide
    assert 'class="narrow" hidden' in narrow
    widths = [int(re.search(r'width="([0-9]+)"', image)[1]) for image in (wide, narrow)]
    assert widths == [672, 322]
