import io
import re

import matplotlib
import pytest
from PIL import Image

from builders.html import parsed
from builders.series import series
from necrostats.errors import ChoiceError
from necrostats.present import chart
from necrostats.present.style import PrintStyle
from necrostats.present.word import KINDS, picture

FIGURE = chart(series().results["deaths"])


@pytest.mark.parametrize("width", [85, 178])
@pytest.mark.parametrize(("kind", "dpi"), [("png", 300), ("tiff", 600)])
def test_a_picture_is_as_wide_as_asked_at_any_resolution(kind, dpi, width):
    image = Image.open(io.BytesIO(picture(FIGURE, kind, width_mm=width, dpi=dpi)))
    assert image.width == pytest.approx(width / 25.4 * dpi, abs=1)
    assert image.info["dpi"] == pytest.approx((dpi, dpi), abs=0.5)


def test_a_tiff_is_compressed_without_loss_and_not_transparent():
    image = Image.open(io.BytesIO(picture(FIGURE, "tiff", dpi=72)))
    assert (image.info["compression"], image.mode) == ("tiff_lzw", "RGB")


def test_an_svg_holds_its_text_as_text_in_the_font_that_was_chosen():
    page = picture(FIGURE, "svg", style=PrintStyle(percent_space=False)).decode()
    texts = "; ".join(each.text for each in parsed(re.sub(r"<\?.*?\?>", "", page)).all("text"))
    assert "Death" in texts and "12 / 142" in texts and "DejaVu Sans" in page
    assert re.search(r"\d%", texts) and not re.search(r"\d\s%", texts)


def test_a_pdf_has_its_fonts_inside():
    page = picture(FIGURE, "pdf")
    assert b"/FontFile2" in page and b"/Type3" not in page and b"CreationDate" not in page


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.slow
def test_the_same_bytes_on_every_run_and_the_readers_settings_untouched(kind):
    before = dict(matplotlib.rcParams)
    assert picture(FIGURE, kind, dpi=72) == picture(FIGURE, kind, dpi=72)
    assert dict(matplotlib.rcParams) == before


@pytest.mark.parametrize(
    ("kind", "more"), [("gif", {}), ("png", {"width_mm": 19.9}), ("png", {"dpi": 49}), ("png", {"dpi": 72.5})]
)
def test_what_cannot_be_printed_is_refused(kind, more):
    with pytest.raises(ChoiceError):
        picture(FIGURE, kind, **more)


def test_a_font_that_is_not_installed_is_said_and_drawn_in_the_usual_one():
    style = PrintStyle(font="No Such Font")
    assert style.drawn_font == "DejaVu Sans" and "not installed" in style.remark
    assert PrintStyle().remark == ""
