"""The privacy check of an export: what stops it, what does not, and what lets a place pass."""

import re
from datetime import date

import pytest
import xlsxwriter

from builders.exports import HEADINGS, INDEX, TOP, WIDE, read, read_wide, told, wide_line, workbook
from necrostats.errors import RegistryError
from necrostats.registry.export.layout_drafting import draft_layout
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.ledger import ledger_of
from necrostats.registry.export.loading import read_with_layout
from necrostats.registry.export.private import holds_date, holds_old_age, shown
from necrostats.registry.privacy.columns import clues_in

SECRET = "anna.muster@example.org"


def refused(call, *arguments, **how):
    with pytest.raises(RegistryError) as caught:
        call(*arguments, **how)
    said = str(caught.value)
    assert "Nothing was read into a table" in said
    assert "muster" not in said.casefold() and "example.org" not in said
    return said


def withheld(found, secret):
    """Whether a cell was withheld alone, with a release that works, and is shown nowhere."""
    told = found.registry.findings
    assert secret not in told.to_string() and secret not in ledger_of(found).to_string()
    return "--accept" in told.loc[told["rule"] == "MAY_BE_A_NAME", "remedy"].iloc[0]


def test_a_cell_that_only_looks_like_a_name_is_withheld_where_a_code_belongs_and_read_once_accepted(tmp_path):
    line = wide_line(DEN1_date=date(2024, 3, 8), DEN1_tools="Quorlis", DEN1_yield="100 ml")
    found = read_wide(tmp_path, line)
    assert withheld(found, "Quorlis")
    assert found.registry.sessions["yield_low"].dropna().tolist() == [100]
    accepted = read_wide(tmp_path, line, accepted=["DEN!DEN1 tools"])
    assert "MAY_BE_A_NAME" not in set(accepted.registry.findings["rule"])


def test_what_looks_like_a_name_passes_in_a_column_that_is_ignored_and_stops_where_text_is_kept(tmp_path):
    sheet = {"DEN": [(*HEADINGS, "Remarks"), [*wide_line(), "Konsil Quorlis"]]}
    refused(read, tmp_path, sheet, WIDE)
    ignored = WIDE.replace('patient = "Study no"', 'patient = "Study no"\nignore = ["Remarks"]')
    assert len(read(tmp_path, sheet, ignored).registry.patients) == 1
    kept = WIDE.replace('"DEN{n} tools" = "instruments"', '"DEN{n} tools" = "operator"')
    refused(read_wide, tmp_path, wide_line(DEN1_tools="Quorlis"), layout=kept)


def test_rows_that_are_no_record_do_not_make_a_key_look_like_something_else(tmp_path):
    foot = ["Mittelwert", 50, *[""] * 9], ["Stand 30.09.2025, DEN 7 im Buch", *[""] * 10]
    layout = WIDE.replace('patient = "Study no"', 'patient = "Pat-Nr"\nskip_rows = ["Mittelwert", "Stand*"]')
    sheet = {"DEN": [("Pat-Nr", *HEADINGS[1:]), wide_line("W-01"), wide_line("W-02"), *foot]}
    assert len(read(tmp_path, sheet, layout).registry.patients) == 2


def test_an_identifier_in_a_cell_stops_and_names_the_place(tmp_path):
    said = refused(read_wide, tmp_path, wide_line(DEN1_tools=SECRET))
    assert '"DEN1 tools"' in said and "row 2" in said


IGNORING = WIDE.replace('patient = "Study no"', 'patient = "Study no"\nignore = ["Note"]')


def test_columns_and_sheets_that_the_layout_does_not_mention_are_looked_at_too(tmp_path):
    noted = {"headings": [*HEADINGS, "Note"], "layout": WIDE}
    assert "Note" in refused(read_wide, tmp_path, [*wide_line(), SECRET], **noted)
    sheets = {"DEN": [HEADINGS, wide_line()], "Old": [["x"], [SECRET]]}
    assert "Old" in refused(read, tmp_path, sheets, WIDE)


def test_what_the_layout_ignores_by_name_is_told_without_its_value_and_stops_nothing(tmp_path):
    found = read_wide(tmp_path, [*wide_line(), SECRET], layout=IGNORING, headings=[*HEADINGS, "Note"])
    assert [(column, value) for _, _, column, value in told(found, "IDENTITY_NOT_READ")] == [("Note", "")]
    sheets = {"DEN": [HEADINGS, wide_line()], "Old": [["x"], [SECRET]]}
    found = read(tmp_path, sheets, 'ignore_sheets = ["Old"]\n' + WIDE)
    assert [(sheet, column) for sheet, _, column, _ in told(found, "IDENTITY_NOT_READ")] == [("Old", "x")]
    assert SECRET not in found.registry.findings.to_csv()


def test_a_heading_that_tells_somebody_is_ignored_with_its_sheet(tmp_path):
    sheets = {"DEN": [HEADINGS, wide_line()], "Old": [["born 12.03.1961"], ["x"]]}
    found = read(tmp_path, sheets, 'ignore_sheets = ["Old"]\n' + WIDE)
    assert [column for _, _, column, _ in told(found, "IDENTITY_NOT_READ")] == ["column 1 (heading withheld)"]


def test_a_row_that_the_layout_skips_is_told_without_its_value_and_stops_nothing(tmp_path):
    layout = WIDE.replace('patient = "Study no"', 'patient = "Study no"\nskip_rows = ["Pulled*"]')
    found = read_wide(tmp_path, wide_line("1"), ["Pulled on 30/06/2025 by ward 4", *[""] * 10], layout=layout)
    assert [(row, column) for _, row, column, _ in told(found, "IDENTITY_NOT_READ")] == [(3, "Study no")]


def test_a_column_that_one_block_of_a_sheet_ignores_and_another_reads_still_stops(tmp_path):
    reading = """
[[sheet]]
name = "D*"
patient = "Study no"
[[sheet.rows]]
table = "reviews"
columns = { "Note" = "day" }
"""
    refused(read_wide, tmp_path, [*wide_line(), SECRET], layout=IGNORING + reading, headings=[*HEADINGS, "Note"])


def test_what_was_found_in_a_form_stands_in_its_own_row(tmp_path):
    layout = FORM
    sheets = {"Case 1": [["Code", "X-1"], ["Age", 50], ["Remark", SECRET], ["Index", INDEX]]}
    said = refused(read, tmp_path, sheets, layout)
    assert '"Remark"' in said and "row 3" in said


FORM = (
    TOP
    + """
[[sheet]]
name = "Case *"
labels = "A"
values = "B"
patient = "Code"
[[sheet.rows]]
table = "patients"
columns = { "Age" = "age_years", "Index" = "index_date" }
"""
)


@pytest.mark.parametrize("heading", ["Réf", "Ref.", "Reference no"])
def test_a_heading_of_devices_may_head_the_codes_of_patients_where_the_layout_says_so(tmp_path, heading):
    headings, lines = [heading, *HEADINGS[1:]], [wide_line(f"F-{number:02d}") for number in range(1, 5)]
    layout = WIDE.replace('"Study no"', f'"{heading}"')
    assert len(read_wide(tmp_path, *lines, layout=layout, headings=headings).registry.patients) == 4
    beside = [[*line, "LOT-77812"] for line in lines]
    refused(read_wide, tmp_path, *beside, headings=[*HEADINGS, heading])


@pytest.mark.parametrize("age", ["93 anni", "91 ans", "edad 95", "93 years old"])
def test_an_age_over_89_in_the_column_of_ages_becomes_90_and_stops_elsewhere(tmp_path, age):
    found = read_wide(tmp_path, wide_line(age=age))
    assert age not in found.registry.findings.to_csv()
    refused(read_wide, tmp_path, [*wide_line(), age], headings=[*HEADINGS, "Note"])


def test_the_count_of_records_under_a_table_is_no_name():
    assert not clues_in("Anzahl Datensätze: 32")


def test_titles_above_the_headings_comments_and_properties_are_looked_at(tmp_path):
    titled = WIDE.replace('patient = "Study no"', 'patient = "Study no"\nheader_rows = 2')
    assert "above the headings" in refused(read, tmp_path, {"DEN": [[SECRET], HEADINGS, wide_line()]}, titled)
    path = tmp_path / "b.xlsx"
    for hide in ("comment", "property"):
        with xlsxwriter.Workbook(path) as book:
            sheet = book.add_worksheet("DEN")
            sheet.write_row(0, 0, HEADINGS)
            if hide == "comment":
                sheet.write_comment(1, 1, SECRET)
            else:
                book.set_properties({"comments": SECRET})
        assert hide[:7] in refused(read_with_layout, path, parse_layout(WIDE))


def test_a_date_in_another_column_is_set_aside_alone_and_shown_nowhere(tmp_path):
    line = [*wide_line(DEN1_date=date(2024, 3, 8), DEN1_tools="snare"), date(2024, 5, 5)]
    read_wide(tmp_path, line, headings=[*HEADINGS, "Booked"])
    for cell in ("snare on 12 March 2024", "net 12 décembre 2023", "12/03/24"):
        found = read_wide(tmp_path, wide_line(DEN1_date=date(2024, 3, 8), DEN1_tools=cell))
        assert len(found.registry.sessions[found.registry.sessions["day"] > 0]) == 1
        assert "value withheld" in set(found.registry.findings["value"])
        assert not found.registry.findings["value"].str.contains("2024|2023|/24").any()


def test_a_date_in_a_study_code_stops(tmp_path):
    assert "Study no" in refused(read_wide, tmp_path, wide_line(key="KM 12/03/1961"))


def test_a_column_of_birth_dates_stops_even_where_it_is_not_read(tmp_path):
    line = [*wide_line(), date(1960, 5, 5)]
    assert "Date of birth" in refused(read_wide, tmp_path, line, headings=[*HEADINGS, "Date of birth"])


def test_a_column_that_a_person_has_looked_at_may_pass(tmp_path):
    layout = WIDE.replace('"DEN{n} tools" = "instruments"', '"DEN{n} tools" = { to = "operator", pseudonyms = true }')
    line = wide_line(DEN1_date=date(2024, 3, 8), DEN1_tools="Weber")
    refused(read_wide, tmp_path, line, layout=layout)
    found = read_wide(tmp_path, line, layout=layout, accepted=["DEN1 tools"])
    assert found.registry.sessions["operator"].dropna().tolist() == ["operator A"]


SLANG = (
    WIDE
    + """
[synonyms.instrument_class]
"Grabber" = "forceps"
"Muckle spinner" = "powered_debrider"
"""
)


def test_the_words_that_the_layout_lists_pass_and_hide_nothing_beside_them(tmp_path):
    line = wide_line(DEN1_date=date(2024, 3, 8), DEN1_tools="grabber, Muckle spinner", DEN1_compl="bled, perf")
    found = read_wide(tmp_path, line, layout=SLANG)
    assert sorted(map(str, found.registry.instrument_uses["instrument_class"])) == ["forceps", "powered_debrider"]
    assert withheld(read_wide(tmp_path, wide_line(DEN1_tools="grabber, Muckle spinner")), "Muckle")
    assert withheld(read_wide(tmp_path, wide_line(DEN1_tools="Grabber, Brandelow"), layout=SLANG), "Brandelow")
    refused(read_wide, tmp_path, wide_line(DEN1_tools="Grabber", DEN1_compl=SECRET), layout=SLANG)


def _lines_to_add(text):
    return re.findall(r'--accept "([^"]+)"', text)


@pytest.mark.parametrize(
    ("headings", "cells", "sheets"),
    [
        (["Remarks; GP"], ["d/w Dr Brandelow"], {}),
        (["Contact"], ["0171 5550 1234"], {}),
        (["Remarks"], ["j.brandelow@example.org"], {}),
        (["Brandelow, Ottilie"], ["3"], {}),
        (["Date of birth"], ["05/05/1960"], {}),
        (["Remarks"], ["none"], {"Ottilie Brandelow": [("a",), (1,)]}),
    ],
)
def test_every_refusal_is_lifted_by_the_lines_it_prints(tmp_path, headings, cells, sheets):
    book = {"DEN": [[*HEADINGS, *headings], [*wide_line(), *cells]], **sheets}
    text = refused(read, tmp_path, book, WIDE)
    lines = _lines_to_add(text)
    assert lines and len(read(tmp_path, book, WIDE, accepted=lines).registry.patients) == 1
    written = ", ".join(f'"{line}"' for line in lines)
    layout = WIDE.replace("format = 1", f"format = 1\naccept = [{written}]", 1)
    assert len(read(tmp_path, book, layout).registry.patients) == 1


@pytest.mark.parametrize(
    "name",
    [
        "Info",
        "Legende",
        "Légende",
        "Leyenda",
        "Legenda",
        "Summary",
        "Pivot",
        "Lookup",
        "Audit",
        "Kommentar",
        "Riepilogo",
    ],
)
def test_the_names_that_units_give_their_sheets_are_no_persons(tmp_path, name):
    book = {"DEN": [HEADINGS, wide_line()], name: [("a",), (1,)]}
    assert len(read(tmp_path, book, WIDE).registry.patients) == 1


@pytest.mark.parametrize(
    "heading", ["Patient", "Pat.-Nr.", "Patientennummer", "Paciente", "Pt no", "Case", "Patient n°"]
)
@pytest.mark.parametrize("keys", [("P01", "P02"), (1, 2), ("D-001", "D-002")])
def test_a_column_of_study_codes_may_be_headed_as_units_head_it(tmp_path, heading, keys):
    lines = [[key, *wide_line(age=50 + place)[1:]] for place, key in enumerate(keys)]
    layout = WIDE.replace('"Study no"', f'"{heading}"')
    assert len(read_wide(tmp_path, *lines, layout=layout, headings=[heading, *HEADINGS[1:]]).registry.patients) == 2


def test_names_under_such_a_heading_still_stop(tmp_path):
    headings, layout = ["Patient", *HEADINGS[1:]], WIDE.replace('"Study no"', '"Patient"')
    refused(read_wide, tmp_path, wide_line(key="Ottilie Brandelow"), layout=layout, headings=headings)


def test_record_numbers_under_such_a_heading_still_stop(tmp_path):
    headings, layout = ["Pat.-Nr.", *HEADINGS[1:]], WIDE.replace('"Study no"', '"Pat.-Nr."')
    lines = [wide_line(key=key) for key in (70311842, 70922541, 71234410)]
    refused(read_wide, tmp_path, *lines, layout=layout, headings=headings)


@pytest.mark.parametrize("named", ['name = "Quorlis"', 'ignore_sheets = ["Quorlis"]'])
def test_a_sheet_that_the_layout_names_is_read_or_left_and_any_other_that_looks_like_a_name_is_refused(tmp_path, named):
    sheets = {"DEN": [HEADINGS, wide_line("1")], "Quorlis": [["Study no", "Date"], ["1", "10/04/24"]]}
    with pytest.raises(RegistryError, match="ignore_sheets"):
        read(tmp_path, sheets, WIDE)
    reviews = """
[[sheet]]
name = "Quorlis"
patient = "Study no"
[[sheet.rows]]
table = "reviews"
columns = { "Date" = "day" }
"""
    layout = f"{WIDE}\n{reviews}" if named.startswith("name") else WIDE.replace("format = 1", f"format = 1\n{named}")
    assert len(read(tmp_path, sheets, layout).registry.reviews) == named.startswith("name")


def test_a_draft_is_made_of_places_that_a_person_accepts_and_accepts_them_too(tmp_path):
    path = workbook(tmp_path / "a.xlsx", {"Margaret": [["Study no", "Index drainage"], ["1", INDEX]]})
    with pytest.raises(RegistryError, match="name of sheet 1"):
        draft_layout(path)
    assert 'accept = ["name of sheet 1"]' in draft_layout(path, accepted=["name of sheet 1"])


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


def test_a_grade_that_is_on_no_scale_is_a_wrong_code_and_no_name(tmp_path):
    layout = (
        WIDE
        + """
[[sheet]]
name = "Events"
patient = "Study no"
[[sheet.rows]]
table = "adverse_events"
columns = { "Day" = { to = "day", days = true }, "Event" = "event_type", "AGREE" = "agree_grade" }
"""
    )
    sheets = {
        "DEN": [HEADINGS, wide_line("1")],
        "Events": [["Study no", "Day", "Event", "AGREE"], ["1", 5, "bleeding", "IIIc"]],
    }
    found = read(tmp_path, sheets, layout)
    assert told(found, "NOT_LISTED") == [("Events", 2, "AGREE", "IIIc")]
    assert told(found, "MAY_BE_A_NAME") == []
