from datetime import date

import numpy as np
import pytest

from builders.exports import HEADINGS, INDEX, TOP, WIDE, read, read_wide, told, wide_line, workbook
from necrostats.errors import RegistryError
from necrostats.registry.export.about import counts_of
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.linking import KnownCollections
from necrostats.registry.export.loading import read_with_layout

LAYOUT = (
    WIDE
    + """
[[sheet.rows]]
table = "collections"
columns = { "Where" = "collections", "Size" = { to = "size", unit = "cm" } }
[[sheet]]
name = "Scans"
patient = "Study no"
[[sheet.rows]]
table = "scans"
columns = { "Day" = { to = "day", days = true }, "Size" = { to = "size", unit = "mm" }, "Which" = "collection" }
[[sheet]]
name = "Events"
patient = "Study no"
[[sheet.rows]]
table = "adverse_events"
columns = { "Day" = { to = "day", days = true }, "What" = "event_type", "DEN" = "session" }
"""
)
TWO = "WON x2 (lesser sac + pelvic)"


def export(tmp_path, where=TWO, size="", scans=(), events=(), layout=LAYOUT, **cells):
    sheets = {
        "DEN": [[*HEADINGS, "Where", "Size"], [*wide_line("1", **cells), where, size]],
        "Scans": [["Study no", "Day", "Size", "Which"], *(["1", 10, size_, which] for size_, which in scans)],
        "Events": [["Study no", "Day", "What", "DEN"], *(["1", day, "bled", den] for day, den in events)],
    }
    return read(tmp_path, sheets, layout)


def collections(found):
    return found.registry.collections[["site", "is_index", "long_mm"]].astype(object).to_numpy(na_value=None).tolist()


def test_a_patient_for_whom_no_collection_is_named_has_one(tmp_path):
    assert collections(export(tmp_path, where="")) == [[None, True, None]]


def test_the_first_collection_named_is_the_index_one_and_that_is_asked_about(tmp_path):
    found = export(tmp_path)
    assert collections(found) == [["lesser_sac", True, None], ["pelvic", False, None]]
    assert len(told(found, "INDEX_ASSUMED")) == 1


def test_a_layout_that_says_so_is_not_asked(tmp_path):
    said = LAYOUT.replace("[fill]", '[collections]\nindex = "first"\nunnamed = "index"\n[fill]')
    found = export(tmp_path, layout=said)
    assert told(found, "INDEX_ASSUMED") == [] == told(found, "COLLECTION_ASSUMED")


@pytest.mark.parametrize(
    ("size", "expected"), [("12x10", [120.0, None]), ("12x10 + 5", [120.0, 50.0]), ("12; 5; 6", [None, None])]
)
def test_sizes_go_to_the_collections_in_the_same_order_or_to_the_first(tmp_path, size, expected):
    assert [each[2] for each in collections(export(tmp_path, size=size))] == expected


@pytest.mark.parametrize(("which", "row"), [("pelvis", 1), ("lesser sac", 0), ("2", 1), ("1", 0), ("", 0)])
def test_a_scan_is_of_the_collection_it_names_by_site_or_number(tmp_path, which, row):
    found = export(tmp_path, scans=[(30, which)])
    assert found.registry.position("scans", "collections").tolist() == [row]


@pytest.mark.parametrize("which", ["mesenteric", "3", "both", "the big one"])
def test_a_scan_of_no_collection_that_can_be_told_is_set_aside(tmp_path, which):
    found = export(tmp_path, scans=[(30, which)])
    assert len(found.registry.scans) == 0
    aside = found.registry.set_aside
    assert aside.loc[aside["scope"] == "row", ["sheet", "row"]].to_numpy().tolist() == [["Scans", 2]]


def test_one_collection_of_unknown_site_is_the_one_meant(tmp_path):
    found = export(tmp_path, where="WON", scans=[(30, "pelvis")])
    assert found.registry.position("scans", "collections").tolist() == [0]


def test_sessions_without_a_word_may_be_said_to_treat_all(tmp_path):
    said = LAYOUT.replace("[fill]", '[collections]\nunnamed = "all"\n[fill]')
    found = export(tmp_path, layout=said)
    assert found.registry.sessions["also_treated"].tolist() == ["C0002"]


@pytest.mark.parametrize(("written", "session"), [("1", "S00002"), ("DEN 2", "S00003"), ("den02", "S00003")])
def test_an_event_belongs_to_the_session_it_names(tmp_path, written, session):
    found = export(tmp_path, events=[(9, written)], DEN1_date=date(2024, 3, 8), DEN2_date=date(2024, 3, 9))
    assert found.registry.adverse_events["session_id"].astype(object).tolist() == [session]


def test_an_event_of_a_session_joined_with_the_drainage_finds_it(tmp_path):
    layout = LAYOUT.replace('numbers = "1-2"', 'numbers = "1-2"\nsame_day = "merge"')
    found = export(tmp_path, events=[(0, "1")], layout=layout, DEN1_date=INDEX, DEN1_tools="net")
    assert found.registry.adverse_events["session_id"].astype(object).tolist() == ["S00001"]
    assert len(found.registry.sessions) == 1


def test_an_event_that_names_no_session_of_the_patient_is_kept_without_one(tmp_path):
    found = export(tmp_path, events=[(9, "7")], DEN1_date=date(2024, 3, 8))
    assert found.registry.adverse_events["session_id"].isna().tolist() == [True]
    assert told(found, "NO_SUCH_SESSION") == [("Events", 2, "DEN", "7")]


def test_an_event_in_a_sessions_own_cell_has_its_day(tmp_path):
    found = export(tmp_path, DEN1_date="Apr-24", DEN1_compl="bled, stopped")
    events = found.registry.adverse_events
    assert events[["day", "day_latest"]].to_numpy().tolist() == [[31, 60]]
    assert len(told(found, "TO_GRADE")) == 1


@pytest.mark.parametrize("named", ["0001" + "0" * 5_000, "00015", "9" * 4_400])
def test_a_collection_by_a_number_without_end_is_none_of_the_patients(named):
    blank = np.array([""] * 8, dtype=object)
    known = KnownCollections(site=blank, number=np.zeros(8, int), own=blank)
    assert known.found(named, [4, 7]) == []
    assert known.found("2", [4, 7]) == [7]


STENTS = (
    WIDE
    + """
"DEN{n} stents" = "stents"
[[sheet.rows]]
table = "stents"
columns = { "Stent" = "stent", "In" = "placed_day", "Out" = "end" }
"""
)


def test_stents_of_a_session_were_placed_on_its_day_and_those_of_one_cell_share_their_dates(tmp_path):
    headings = [*HEADINGS, "DEN1 stents", "DEN2 stents", "Stent", "In", "Out"]
    line = [*wide_line("1", DEN1_date="10/03/24"), "2 x DPT 7Fr", "", "LAMS 15 + DPT 7 Fr", INDEX, "migrated 31/03/24"]
    found = read(tmp_path, {"DEN": [headings, line]}, STENTS)
    session = found.registry.sessions.query("session_type == 'necrosectomy'").iloc[0]
    columns = ["stent_type", "diameter_mm", "caliber_fr", "placed_day", "removed_day", "end_reason"]
    assert counts_of(found.material).complete
    stents = found.registry.stents[columns].astype(object).to_numpy(na_value=None).tolist()
    assert sorted(stents, key=str) == sorted(
        [
            ["lumen_apposing", 15, None, 0, 30, "migrated"],
            ["double_pigtail", None, 7, 0, 30, "migrated"],
            *[["double_pigtail", None, 7, session["day"], None, None]] * 2,
        ],
        key=str,
    )


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
