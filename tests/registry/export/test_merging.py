from datetime import date

import pytest

from builders.exports import HEADINGS, INDEX, WIDE, read, read_wide, told, wide_line

DEATHS = """
[[sheet]]
name = "Deaths"
patient = "Study no"
[[sheet.rows]]
table = "patients"
columns = { "Died" = "death_day", "Cause" = "death_cause", "Years" = "age_years" }
"""


def with_deaths(tmp_path, *lines):
    wide = [HEADINGS, wide_line("1"), wide_line("2")]
    deaths = [["Study no", "Died", "Cause", "Years"], *lines]
    return read(tmp_path, {"DEN": wide, "Deaths": deaths}, WIDE + DEATHS)


def test_a_patient_of_two_sheets_is_one_row(tmp_path):
    found = with_deaths(tmp_path, ["2", date(2024, 4, 1), "procedure", ""])
    row = found.registry.patients.iloc[1]
    assert (row["age_years"], row["death_day"], row["death_cause"]) == (50, 31, "procedure")
    assert (row["vital_status"], row["last_contact_day"]) == ("dead", 31)


def test_two_sheets_that_disagree_set_both_cells_aside(tmp_path):
    found = with_deaths(tmp_path, ["1", "", "", 60])
    assert found.registry.patients["age_years"].isna().tolist() == [True, False]
    assert sorted(told(found, "CONFLICT")) == [("DEN", 2, "Age", "50"), ("Deaths", 2, "Years", "60")]


def test_two_sheets_that_agree_are_no_conflict(tmp_path):
    found = with_deaths(tmp_path, ["1", "", "", 50])
    assert found.registry.patients["age_years"].tolist() == [50, 50]
    assert told(found, "CONFLICT") == []


def test_an_unknown_patient_in_another_sheet_is_set_aside(tmp_path):
    found = with_deaths(tmp_path, ["99", date(2024, 4, 1), "", ""])
    assert len(found.registry.patients) == 2
    assert told(found, "INDEX_UNKNOWN")[0][:2] == ("Deaths", 2)


def test_a_row_word_for_word_again_counts_once(tmp_path):
    line = wide_line("1", DEN1_date=date(2024, 3, 8))
    found = read_wide(tmp_path, line, wide_line("2"), line)
    assert len(found.registry.sessions) == 3
    assert [row for _, row, _, _ in told(found, "DUPLICATE_ROW")] == [4]


def test_two_rows_of_one_key_that_differ_set_the_patient_aside(tmp_path):
    found = read_wide(tmp_path, wide_line("1", 50), wide_line("1", 51), wide_line("2"))
    assert found.registry.patients["patient_id"].tolist() == ["P0002"]
    assert [row for _, row, _, _ in told(found, "DUPLICATE_ID")] == [2, 3]


def test_a_session_on_the_day_of_the_drainage_is_a_second_row_and_asked_about(tmp_path):
    found = read_wide(tmp_path, wide_line(DEN1_date=INDEX, DEN1_tools="snare"))
    assert found.registry.sessions["session_type"].tolist() == ["drainage", "necrosectomy"]
    assert len(told(found, "SAME_AGAIN")) == 2


def test_the_layout_may_join_it_with_the_drainage(tmp_path):
    layout = WIDE.replace('numbers = "1-2"', 'numbers = "1-2"\nsame_day = "merge"')
    found = read_wide(
        tmp_path,
        wide_line("1", DEN1_date=INDEX, DEN1_tools="snare", DEN1_compl="bled", DEN2_date=date(2024, 3, 8)),
        wide_line("2", DEN1_date=date(2024, 3, 2), DEN1_tools="net"),
        layout=layout,
    )
    sessions = found.registry.sessions
    both, cut = "drainage_and_necrosectomy", "necrosectomy"
    assert sessions["session_type"].tolist() == [both, cut, "drainage", cut]
    uses = found.registry.instrument_uses.astype(object)
    assert uses[["session_id", "instrument_class"]].to_numpy().tolist() == [["S00001", "snare"], ["S00004", "net"]]
    assert found.registry.adverse_events["session_id"].astype(object).tolist() == ["S00001"]


@pytest.mark.parametrize("step", [1, -1])
def test_the_order_of_rows_in_another_sheet_changes_nothing(tmp_path, step):
    lines = [["1", date(2024, 4, 1), "other", ""], ["2", date(2024, 5, 1), "", ""]]
    found = with_deaths(tmp_path, *lines[::step])
    assert found.registry.patients["death_day"].tolist() == [31, 61]
