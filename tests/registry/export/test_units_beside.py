"""A unit in a column of its own, beside the amount."""

from __future__ import annotations

from datetime import date

import pytest

from builders.exports import TOP, read

LAYOUT = (
    TOP.replace("[fill]", '[numbers]\ndecimal = ","\n[fill]')
    + """
[[sheet]]
name = "DEN"
patient = "No"
[[sheet.rows]]
table = "patients"
columns = { "Index" = "index_date" }
[[sheet.rows]]
table = "sessions"
constants = { session_type = "necrosectomy" }
[sheet.rows.columns]
"Day" = { to = "day", days = true }
"Amount" = "yield"
"Unit" = { to = "yield_unit", codes = { "1" = "ml", "2" = "g", "9" = "" } }
"""
)


@pytest.mark.parametrize(
    ("amount", "unit", "expected", "asked"),
    [
        ("420,0", "1", (420.0, "ml"), []),
        ("420,0", "9", (420.0, None), ["NO_UNIT"]),
        ("siehe Bericht", "1", (None, None), []),
        ("300-200", "1", (None, None), ["NOT_READ"]),
        ("120 g", "2", (120.0, "g"), []),
    ],
)
def test_a_unit_in_a_column_of_its_own_is_that_of_the_amount_beside_it_and_of_nothing_else(
    tmp_path, amount, unit, expected, asked
):
    sheets = {"DEN": [["No", "Index", "Day", "Amount", "Unit"], ["1", date(2024, 3, 1), 5, amount, unit]]}
    found = read(tmp_path, sheets, LAYOUT)
    session = found.registry.sessions.query("session_type == 'necrosectomy'").iloc[0]
    value = [None if each != each else each for each in (session["yield_low"], session["yield_unit"])]
    assert tuple(value) == expected
    rules = found.registry.findings.query("column == 'Amount' or column == 'Unit'")["rule"]
    assert sorted(set(rules) & {"NO_UNIT", "NOT_READ", "IN_DOUBT"}) == asked
