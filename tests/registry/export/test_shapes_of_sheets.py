"""Sheets of the shapes that units really keep, read as they stand."""

from __future__ import annotations

import pytest

from builders.exports import HEADINGS, INDEX, TOP, WIDE, read, read_wide, told, wide_line
from necrostats.errors import RegistryError
from necrostats.registry.export.about import counts_of
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.ledger import ledger_of
from necrostats.registry.export.mapped_sheets import plainest

ONE_A_SHEET = (
    TOP
    + """
[[sheet]]
name = "Pat*"
patient = "{sheet}"
skip_rows = ["Total", "mean*"]
[[sheet.rows]]
table = "patients"
columns = { "Index" = "index_date" }
[[sheet.rows]]
table = "sessions"
constants = { session_type = "necrosectomy" }
columns = { "Day" = { to = "day", days = true }, "Yield" = { to = "yield", unit = "ml" } }
"""
)


@pytest.mark.parametrize("written", ["DEN {} date", "DEN-{} date", "DEN{}_date", "DEN #{} date"])
def test_a_numbered_heading_forgives_blanks_and_signs(tmp_path, written):
    headings = [heading.replace("DEN1 date", written.format(1)) for heading in HEADINGS]
    found = read_wide(tmp_path, wide_line("1", DEN1_date="10/03/24"), headings=headings)
    assert found.registry.sessions["day"].tolist() == [0, 9]
    assert told(found, "COLUMN_NOT_MENTIONED") == []


@pytest.mark.parametrize("written", ["1st DEN date", "1. DEN date", "1ère DEN date", "1º DEN date", "1 DEN date"])
def test_a_number_before_the_heading_may_be_an_ordinal(tmp_path, written):
    headings = [heading.replace("DEN1 date", written).replace("DEN2 date", "2 DEN date") for heading in HEADINGS]
    layout = WIDE.replace('"DEN{n} date"', '"{n} DEN date"')
    found = read_wide(tmp_path, wide_line("1", DEN1_date="10/03/24"), headings=headings, layout=layout)
    assert found.registry.sessions["day"].tolist() == [0, 9]


def test_headings_that_differ_in_more_than_signs_stay_apart():
    assert len({plainest(each) for each in ("DEN1 date", "DEN11 date", "DEN2 date", "DEN1 data", "DEN1 dates")}) == 5


def test_two_columns_that_would_do_are_not_chosen_between(tmp_path):
    headings = [heading.replace("DEN2 date", "DEN-1 date").replace("DEN1 date", "DEN 1 date") for heading in HEADINGS]
    with pytest.raises(Exception, match="DEN1 date"):
        read_wide(tmp_path, wide_line("1"), headings=headings)


def test_one_sheet_a_patient_is_read_by_the_name_of_the_sheet_and_totals_are_no_record(tmp_path):
    head = ["Index", "Day", "Yield"]
    sheets = {
        "Pat 7": [head, [INDEX, "", ""], ["", 3, 100], ["", 9, 50], ["Total", "", 150]],
        "Pat 9": [head, [INDEX, "", ""], ["", 5, 80], ["Mean of all", "", 80]],
    }
    found = read(tmp_path, sheets, ONE_A_SHEET)
    assert len(found.registry.patients) == 2
    assert found.registry.sessions.query("day > 0")[["patient_id", "day", "yield_low"]].astype(
        str
    ).to_numpy().tolist() == [
        ["P0001", "3", "100.0"],
        ["P0001", "9", "50.0"],
        ["P0002", "5", "80.0"],
    ]
    assert [row for _, row, _, _ in told(found, "SKIPPED")] == [5, 4]
    assert counts_of(found.material).complete


def test_collections_numbered_in_the_headings_are_named_by_label_and_number(tmp_path):
    layout = (
        WIDE
        + """
[[sheet.rows]]
table = "collections"
numbers = "1-2"
columns = { "K{n} size" = { to = "size", unit = "mm" }, "K{n} site" = "site" }
[[sheet]]
name = "Scans"
patient = "No"
[[sheet.rows]]
table = "scans"
columns = { "Day" = { to = "day", days = true }, "Which" = "collection" }
"""
    )
    sheets = {
        "DEN": [
            [*HEADINGS, "K1 size", "K1 site", "K2 size", "K2 site"],
            [*wide_line("1"), "", "", "80x60", "pelvic"],
            [*wide_line("2"), "120", "lesser sac", "40", "pelvic"],
        ],
        "Scans": [["No", "Day", "Which"], ["1", 10, "K2"], ["2", 11, "K2"], ["2", 12, "coll. 1"], ["2", 13, "K3"]],
    }
    registry = read(tmp_path, sheets, layout).registry
    scans = registry.scans.merge(registry.collections, on="collection_id")
    assert scans[["day", "site"]].astype(str).to_numpy().tolist() == [
        ["10", "pelvic"],
        ["11", "pelvic"],
        ["12", "lesser_sac"],
    ]


FORM = (
    TOP
    + """
[[sheet]]
name = "P*"
labels = "A"
values = "B"
label_rows = "1-5"
patient = "Code"
[[sheet.rows]]
table = "patients"
columns = { "Age" = "age_years", "First drainage" = "index_date" }
[[sheet]]
name = "P*"
header_rows = 7
patient = "{sheet}"
[[sheet.rows]]
table = "sessions"
constants = { session_type = "necrosectomy" }
columns = { "Date" = "day", "Yield" = { to = "yield", unit = "ml" } }
"""
)


def _form(code, age="52 y"):
    return [
        ["Necrosectomy sheet"],
        ["Code:", code],
        ["Age", age],
        ["First drainage:", INDEX],
        ["Diet", "oral"],
        [],
        ["Date", "Yield"],
        ["10/03/24", "100"],
        ["12/03/24", "~50 cc"],
    ]


def test_a_form_with_a_label_beside_each_value_and_a_table_beneath_are_both_read(tmp_path):
    found = read(tmp_path, {"P1": _form("P1"), "P2": _form("P2", 61)}, FORM)
    assert found.registry.patients["age_years"].tolist() == [52, 61]
    assert found.registry.sessions["day"].tolist() == [0, 9, 11, 0, 9, 11]
    assert found.registry.sessions["yield_low"].dropna().tolist() == [100, 50, 100, 50]
    assert counts_of(found.material).complete


def test_what_is_said_of_a_form_names_the_row_and_letters_of_the_cell(tmp_path):
    found = read(tmp_path, {"P1": _form("P1", "old")}, FORM)
    aside = found.registry.findings.query("column == 'Age'").iloc[0]
    assert (aside["sheet"], aside["row"], aside["value"]) == ("P1", 3, "old")
    cells = ledger_of(found).query("field == 'age_years'")["cell"].tolist()
    assert cells == ["B3"]
    assert "Diet" in found.registry.findings.query("rule == 'COLUMN_NOT_MENTIONED'")["column"].tolist()


def test_an_identity_in_a_form_is_refused_with_its_place_and_not_shown(tmp_path):
    with pytest.raises(RegistryError) as caught:
        read(tmp_path, {"P1": _form("P1", "someone@example.org")}, FORM)
    assert "Age" in str(caught.value) and "someone" not in str(caught.value)


def test_labels_without_values_are_refused_with_what_to_write():
    with pytest.raises(RegistryError, match="labels"):
        parse_layout(FORM.replace('values = "B"', ""))


CLINIC = (
    WIDE
    + """
[[sheet]]
name = "Clinic"
patient = "Study no"
[[sheet.rows]]
table = "reviews"
columns = { "Date" = "day", "Symptoms" = "symptom_free" }
"""
)


def test_a_column_of_symptoms_read_as_free_of_them_is_asked_about_until_yes_is_explained(tmp_path):
    clinic = [["Study no", "Date", "Symptoms"], ["1", "10/04/24", "yes"], ["1", "10/05/24", "none"]]
    sheets = {"DEN": [HEADINGS, wide_line("1")], "Clinic": clinic}
    assert told(read(tmp_path, sheets, CLINIC), "SYMPTOMS_OR_FREE")
    turned = CLINIC.replace(
        '"Symptoms" = "symptom_free"', '"Symptoms" = { to = "symptom_free", codes = { "yes" = "no" } }'
    )
    found = read(tmp_path, sheets, turned)
    assert not told(found, "SYMPTOMS_OR_FREE")
    assert found.registry.reviews["symptom_free"].tolist() == [False, True]


def test_words_for_answers_may_be_given_by_the_name_of_their_column_or_target(tmp_path):
    layout = WIDE.replace("[[sheet]]", '[synonyms.event]\n"blutig" = "bleeding"\n[[sheet]]', 1)
    found = read_wide(tmp_path, wide_line("1", DEN1_date="10/03/24", DEN1_compl="blutig"), layout=layout)
    assert found.registry.adverse_events["event_type"].tolist() == ["bleeding"]


def test_a_drainage_with_a_row_of_its_own_is_not_made_a_second_time_from_the_date_beside_the_patient(tmp_path):
    layout = (
        WIDE
        + """
[[sheet]]
name = "Scopes"
patient = "Study no"
[[sheet.rows]]
table = "sessions"
columns = { "Date" = "day", "Type" = "session_type", "Min" = "minutes_total" }
"""
    )
    scopes = [["Study no", "Date", "Type", "Min"], ["1", INDEX, "drainage", 45], ["1", "10/03/24", "necrosectomy", 60]]
    found = read(tmp_path, {"DEN": [HEADINGS, wide_line("1"), wide_line("2")], "Scopes": scopes}, layout)
    sessions = found.registry.sessions[["patient_id", "day", "session_type", "minutes_total"]].astype(str)
    assert sessions.to_numpy().tolist() == [
        ["P0001", "0", "drainage", "45.0"],
        ["P0001", "9", "necrosectomy", "60.0"],
        ["P0002", "0", "drainage", "nan"],
    ]


@pytest.mark.parametrize(
    "written", ["removed 12/03/24", "entfernt am 12.03.24", "retirée le 12/03/24", "rimosso il 12/03/24"]
)
def test_a_stent_that_was_removed_has_a_day_and_no_reason(tmp_path, written):
    layout = (
        WIDE
        + """
[[sheet.rows]]
table = "stents"
constants = { stent_type = "lumen_apposing", placed_day = "0" }
columns = { "Stent end" = "end" }
"""
    )
    sheet = [(*HEADINGS, "Stent end"), [*wide_line("1"), written]]
    stents = read(tmp_path, {"DEN": sheet}, layout).registry.stents
    assert stents["removed_day"].tolist() == [11] and stents["end_reason"].isna().all()
