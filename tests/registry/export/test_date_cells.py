"""Cells of dates: a word beside a date, remedies that say what the layout does not say yet, a day written as 00."""

from __future__ import annotations

import pytest

from builders.exports import INDEX, TOP, read, read_wide, told, wide_line
from necrostats.errors import RegistryError
from necrostats.registry.export.layout_reading import parse_layout

DRAINS = (
    TOP
    + """
[[sheet]]
name = "DEN"
patient = "P"
[[sheet.rows]]
table = "patients"
columns = { "Index" = { to = "index_date", session = false } }
[[sheet.rows]]
table = "other_interventions"
constants = { kind = "percutaneous_drain" }
columns = { "Drain" = "day" }
"""
)
NO = DRAINS.replace('"Drain" = "day"', '"Drain" = { to = "day", codes = { no = "", done = "yes" } }')


def drained(tmp_path, *cells, layout=DRAINS):
    lines = [[str(number), INDEX, cell] for number, cell in enumerate(cells, start=1)]
    return read(tmp_path, {"DEN": [["P", "Index", "Drain"], *lines]}, layout)


def days(found):
    frame = found.registry.other_interventions
    return list(zip(frame["patient_id"].astype(object), frame["day"].astype(int), strict=True))


def remedies(found):
    listed = found.registry.findings
    return listed.loc[listed["rule"] == "NOT_A_DATE", "remedy"].tolist()


@pytest.mark.parametrize("cell", ["yes 12/03/24", "12/03/24 yes", "Yes, 12/03/24", "yes (12/03/24)", "12/03/24 (yes)"])
def test_a_date_beside_a_word_that_says_yes_is_the_date(tmp_path, cell):
    found = drained(tmp_path, cell)
    assert days(found) == [("P0001", 11)]
    assert told(found, "NOT_A_DATE") == []


@pytest.mark.parametrize(("language", "cell"), [("it", "sì 12/03/24"), ("de", "ja 12.03.24"), ("fr", "12/03/24 oui")])
def test_the_word_may_be_one_of_the_language_that_the_layout_names(tmp_path, language, cell):
    assert days(drained(tmp_path, cell, layout=f'language = "{language}"\n{DRAINS}')) == [("P0001", 11)]


def test_a_word_that_the_column_lists_counts_there_alone(tmp_path):
    assert days(drained(tmp_path, "done 12/03/24", "no", layout=NO)) == [("P0001", 11)]
    found = drained(tmp_path, "done 12/03/24", "13/03/24")
    assert days(found) == [("P0002", 12)]
    assert "can be listed beside the column" in remedies(found)[0]


@pytest.mark.parametrize("cell", ["no 12/03/24", "12/03/24 no"])
def test_a_word_that_says_no_beside_a_date_contradicts_it(tmp_path, cell):
    found = drained(tmp_path, cell, "13/03/24", layout=NO)
    assert days(found) == [("P0002", 12)]
    assert [row for _, row, _, _ in told(found, "NOT_A_DATE")] == [2]
    assert remedies(found) == ["Take one of them away."]


@pytest.mark.parametrize(("cell", "answer"), [("yes", "yes"), ("no", "no")])
def test_a_bare_answer_is_no_date_and_the_remedy_says_how_to_list_it(tmp_path, cell, answer):
    found = drained(tmp_path, cell, "13/03/24")
    listed = found.registry.findings
    problem = listed.loc[listed["rule"] == "NOT_A_DATE", "problem"].tolist()
    assert problem == [f"says {answer}, and gives no date"]
    assert 'codes = { "no" = "" }' in remedies(found)[0]


def test_the_remedy_does_not_say_what_the_layout_says_already(tmp_path):
    assert remedies(drained(tmp_path, "31/02/24", "13/03/24")) == ["Correct the date."]
    unordered = DRAINS.replace('order = "day_first"\n', "")
    assert "month_first" in remedies(drained(tmp_path, "12/03/24", "2024-03-13", layout=unordered))[0]


@pytest.mark.parametrize("code", ["day", "drain"])
def test_codes_of_a_date_say_yes_no_or_nothing(code):
    with pytest.raises(RegistryError) as caught:
        parse_layout(NO.replace('done = "yes"', f'done = "{code}"'))
    assert 'Write one of: yes, no; or "" for a word that says that nothing is known.' in str(caught.value)


def test_a_day_written_as_00_is_the_month_and_carries_a_note(tmp_path):
    found = read_wide(tmp_path, wide_line(DEN1_date="00/04/2024", DEN2_date="Apr-24"))
    sessions = found.registry.sessions
    assert sessions.loc[sessions["session_type"] == "necrosectomy", ["day", "day_latest"]].to_numpy().tolist() == [
        [31, 60],
        [31, 60],
    ]
    assert [(row, column) for _, row, column, _ in told(found, "DAY_UNKNOWN")] == [(2, "DEN1 date")]
