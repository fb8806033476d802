from datetime import date

import pytest

from builders.exports import HEADINGS, INDEX, TOP, WIDE, read, read_wide, told, wide_line, workbook
from necrostats.errors import RegistryError
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.loading import read_with_layout

SESSIONS = (
    TOP
    + """
[[sheet]]
name = "Scopes"
patient = "P"
[[sheet.rows]]
table = "patients"
columns = { "Age" = "age_years" }
[[sheet.rows]]
table = "sessions"
index = "first_drainage"
columns = { "Date" = "day", "Type" = "session_type" }
"""
)


def days(found):
    return found.registry.sessions[["day", "day_latest"]].astype(object).to_numpy(na_value=None).tolist()


def scopes(tmp_path, *lines):
    return read(tmp_path, {"Scopes": [["P", "Age", "Date", "Type"], *lines]}, SESSIONS)


def test_dates_become_whole_days_from_the_index_drainage(tmp_path):
    found = read_wide(tmp_path, wide_line(DEN1_date=date(2024, 3, 8), DEN2_date="15/03/24"))
    assert days(found) == [[0, None], [7, None], [14, None]]
    assert found.registry.sessions["period"].tolist() == ["2024Q1"] * 3
    assert found.registry.patients["index_period"].tolist() == ["2024Q1"]
    assert found.registry.patients["observed_days"].tolist() == [943]


@pytest.mark.parametrize(
    ("written", "expected"),
    [("Apr-24", [31, 60]), ("00.04.2024", [31, 60]), ("2024-04", [31, 60]), ("Q2 2024", [31, 121])],
)
def test_a_partial_date_becomes_a_range(tmp_path, written, expected):
    found = read_wide(tmp_path, wide_line(DEN1_date=written))
    assert days(found)[1] == expected


def test_a_date_cell_counts_as_precisely_as_it_is_shown(tmp_path):
    path = workbook(tmp_path / "unit.xlsx", {"DEN": [HEADINGS, wide_line()]}, date_format="mmm-yy")
    with pytest.raises(RegistryError) as caught:
        read_with_layout(path, parse_layout(WIDE))
    assert "INDEX_UNKNOWN" in set(caught.value.findings["rule"])


@pytest.mark.parametrize("written", ["Mar-24", "", "-", "early April", "31/02/2024", "12/2024"])
def test_without_an_exact_index_date_the_whole_case_is_set_aside(tmp_path, written):
    found = read_wide(tmp_path, wide_line("1", 50, written, DEN1_date="15/03/24"), wide_line("2"))
    assert found.registry.patients["patient_id"].tolist() == ["P0002"]
    assert [row for _, row, _, _ in told(found, "INDEX_UNKNOWN")] == [2]
    aside = found.registry.set_aside
    assert set(aside.loc[aside["scope"] == "row", "table"]) >= {"patients", "sessions", "collections"}


def test_a_range_across_day_0_is_cut_there_and_asked_about(tmp_path):
    found = read_wide(tmp_path, wide_line(index=date(2024, 3, 10), DEN1_date="Mar-24"))
    assert days(found)[1] == [0, 21]
    assert told(found, "ACROSS_DAY_0") == [("DEN", 2, "DEN1 date", "value withheld")]


def test_an_order_of_day_and_month_is_never_guessed(tmp_path):
    layout = WIDE.replace('order = "day_first"\n', "")
    found = read_wide(tmp_path, wide_line(DEN1_date="08/03/24", DEN2_date="2024-03-15"), layout=layout)
    assert days(found) == [[0, None], [14, None]]
    assert told(found, "NOT_A_DATE") == [("DEN", 2, "DEN1 date", "value withheld")]


def test_findings_show_dates_only_to_the_unit_itself(tmp_path):
    lines = wide_line(DEN1_date="31/02/2026")
    assert told(read_wide(tmp_path, lines), "NOT_A_DATE")[0][3] == "value withheld"
    assert told(read_wide(tmp_path, lines, dates_shown=True), "NOT_A_DATE")[0][3] == "31/02/2026"


def test_dates_outside_the_time_of_the_data_are_asked_about_and_kept(tmp_path):
    layout = WIDE.replace("[fill]", "earliest = 2024-01-01\n[fill]").replace('"age_years"', '"onset_day"')
    found = read_wide(tmp_path, wide_line(age="05/12/2023"), layout=layout)
    assert told(found, "UNLIKELY_DATE") == [("DEN", 2, "Age", "value withheld")]
    assert found.registry.patients["onset_day"].tolist() == [-87]


def test_a_long_sheet_takes_the_first_drainage_for_day_0(tmp_path):
    first, later = ["1", 50, INDEX, "drainage"], ["1", 50, date(2024, 5, 1), "drainage"]
    found = scopes(tmp_path, ["1", 50, date(2024, 3, 8), "necrosectomy"], later, first)
    assert sorted(found.registry.sessions["day"]) == [0, 7, 61]


def test_a_drainage_without_a_date_leaves_the_first_one_unknown(tmp_path):
    found = scopes(tmp_path, ["1", 50, INDEX, "drainage"], ["1", 50, "", "drainage"], ["2", 60, INDEX, "drainage"])
    assert found.registry.patients["patient_id"].tolist() == ["P0002"]


def test_two_dates_of_the_index_drainage_set_the_case_aside(tmp_path):
    layout = WIDE.replace('"Index" = "index_date"', '"Index" = "index_date", "Index 2" = "onset_day"')
    two = (
        layout
        + """
[[sheet]]
name = "Other"
patient = "P"
[[sheet.rows]]
table = "sessions"
index = true
constants = { session_type = "drainage" }
columns = { "Date" = "day" }
"""
    )
    sheets = {
        "DEN": [[*HEADINGS, "Index 2"], wide_line("1"), wide_line("2")],
        "Other": [["P", "Date"], ["1", date(2024, 3, 2)], ["2", INDEX]],
    }
    found = read(tmp_path, sheets, two)
    assert found.registry.patients["patient_id"].tolist() == ["P0002"]
    assert days(found) == [[0, None]]


def test_private_periods_hide_the_quarters_and_give_their_key_apart(tmp_path):
    layout = WIDE.replace("[fill]", 'periods = "sequential"\n[fill]')
    found = read_wide(tmp_path, wide_line(DEN1_date=date(2024, 7, 8)), layout=layout)
    assert found.reshaped.key == {"2024Q1": "P01", "2024Q2": "P02", "2024Q3": "P03"}
    assert found.registry.sessions["period"].tolist() == ["P01", "P03"]
    assert found.registry.periods == ("P01", "P02", "P03")


def test_whole_days_may_be_given_instead_of_dates(tmp_path):
    layout = """
format = 1
[[sheet]]
patient = "P"
[[sheet.rows]]
table = "patients"
constants = { vital_status = "alive" }
[sheet.rows.columns]
"Obs" = "observed_days"
"Contact" = { to = "last_contact_day", days = true }
"Quarter" = "index_period"
[[sheet.rows]]
table = "sessions"
constants = { session_type = "drainage" }
columns = { "Day" = { to = "day", days = true } }
"""
    sheets = {"S": [["P", "Obs", "Contact", "Quarter", "Day"], ["1", 90, "80", "2025Q1", 0]]}
    found = read(tmp_path, sheets, layout)
    assert found.registry.patients["last_contact_day"].tolist() == [80]
