from __future__ import annotations

import pytest

from necrostats.report.typography import ranges, tied

TIE = "\N{NO-BREAK SPACE}"


def test_a_number_keeps_its_sign_and_an_interval_its_name():
    assert tied("65 % (95 % CI 56 to 73 %) of it") == f"65{TIE}% (95{TIE}%{TIE}CI 56 to 73{TIE}%) of it"
    assert tied("Filled, % of rows") == "Filled, % of rows"


@pytest.mark.parametrize(
    ("text", "pieces"),
    [
        (f"CI 56–73{TIE}%, then 0.3–5.4.", ["CI ", f"56–73{TIE}%", ", then ", "0.3–5.4", "."]),
        ("1,200–1,400, or more", ["", "1,200–1,400", ", or more"]),
        ("Aalen–Johansen", ["Aalen–Johansen"]),
        ("−5 to 3", ["−5 to 3"]),
    ],
)
def test_every_second_piece_is_a_range_and_together_they_are_the_text(text, pieces):
    assert ranges(text) == pieces
    assert "".join(pieces) == text
