import pytest

from necrostats.registry.export.redaction import holds_date, holds_old_age, shown


@pytest.mark.parametrize(
    "text",
    [
        "12/03/24",
        "2024-03-12 00:00:00",
        "12.3.2024",
        "Mar-24",
        "seen 3 May 2024",
        "mars 2024",
        "03/2024",
        "20240312",
        "12/03/24 | snare | 100 ml",
        "May 3rd",
        "3rd of May",
    ],
)
def test_dates_are_seen_wherever_they_stand(text):
    assert holds_date(text)
    assert shown(text) == "value withheld"


@pytest.mark.parametrize(
    "text",
    ["200-300", "1.2 L out (1 L in)", "2000 ml", "12x10x8", "1/2 L", "snare x2", "may be 3", "30-40 %", "", "1.200"],
)
def test_amounts_are_no_dates(text):
    assert not holds_date(text)
    assert shown(text) == text


@pytest.mark.parametrize(("text", "old"), [("90", True), ("93 yrs", True), ("89", False), ("", False), ("9", False)])
def test_an_age_of_90_or_over_is_seen(text, old):
    assert holds_old_age(text) is old
