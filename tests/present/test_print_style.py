import pytest

from necrostats.errors import ChoiceError
from necrostats.present.print_style import PrintStyle, check_dpi, check_millimetres


def test_a_space_before_a_percent_sign_is_kept_whole_or_left_out_and_nothing_else_is_touched():
    text = "62 % (54\N{NO-BREAK SPACE}%), k / n, % of 3"
    assert PrintStyle().text(text) == "62\N{NO-BREAK SPACE}% (54\N{NO-BREAK SPACE}%), k / n, % of 3"
    assert PrintStyle(percent_space=False).text(text) == "62% (54%), k / n, % of 3"


@pytest.mark.parametrize("font", ["", "<w:t>", "a" * 70, " Arial", "Arial;x"])
def test_what_is_no_name_of_a_font_is_refused(font):
    with pytest.raises(ChoiceError, match="not the name of a font"):
        PrintStyle(font=font)


@pytest.mark.parametrize(
    ("width", "fits"), [(19.9, False), (20, True), (85, True), (178, True), (500, True), (500.1, False)]
)
def test_a_width_lies_on_some_page(width, fits):
    if fits:
        assert check_millimetres(width) == width
    else:
        with pytest.raises(ChoiceError, match="85"):
            check_millimetres(width)


@pytest.mark.parametrize(
    ("dpi", "fits"), [(49, False), (50, True), (2400, True), (2401, False), (300.5, False), (True, False)]
)
def test_a_resolution_is_a_whole_number_a_printer_has(dpi, fits):
    if fits:
        assert check_dpi(dpi) == dpi
    else:
        with pytest.raises(ChoiceError, match="dpi"):
            check_dpi(dpi)
