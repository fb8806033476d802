from __future__ import annotations

from necrostats.registry.privacy import Sheet, find_identifiers, refusal_text


def _refused() -> str:
    columns = {"Surname": ["x", "y"], "remarks": ["pus", "call 07700 900123"]}
    sheet = Sheet(file="export.xlsx", name="DEN", header=list(columns), columns=columns)
    return refusal_text(find_identifiers([sheet], [("comment at DEN!B3", "d/w Dr Brandelow")]))


def test_nothing_found_says_nothing() -> None:
    assert refusal_text([]) == ""


def test_the_refusal_names_each_place_with_the_value_withheld() -> None:
    text = _refused()
    assert 'export.xlsx, sheet "DEN", "Surname": a name (the heading asks for it; value withheld)' in text
    assert 'export.xlsx, sheet "DEN", "remarks", row 3: a telephone number' in text
    assert "comment at DEN!B3: a name (a title with a name; value withheld) *" in text
    assert "07700" not in text and "Brandelow" not in text


def test_the_refusal_says_what_to_do_and_that_aids_certify_nothing() -> None:
    text = _refused()
    for said in ("remove the column", "pseudonyms", "--accept COLUMN", "De-identification aids certify nothing"):
        assert said in text


def test_rows_of_one_rule_share_a_line() -> None:
    cells = ["a1@example.org", *["ok"] * 40, "a2@example.org"]
    text = refusal_text(find_identifiers([Sheet(file="f.csv", name="", header=["x"], columns={"x": cells})]))
    assert 'f.csv, "x", rows 2, 43: an e-mail address' in text
    assert text.startswith("This may tell who somebody is: 2 places.")
