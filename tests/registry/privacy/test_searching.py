from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from builders.clean_exports import FIRST_REMARKS, SECOND_REMARKS, clean_columns, date_columns, sheet_of
from builders.identifier_phrasings import FIRST, SECOND, THIRD, Phrasings
from builders.planted_identifiers import planted
from necrostats.registry.codebook import TABLES
from necrostats.registry.privacy import KINDS, STOPS, UNTIL_ACCEPTED, Sheet, Suspicion, find_identifiers, refusal_text


def _sheet(**columns: list[str]) -> Sheet:
    return Sheet(file="export.csv", name="DEN", header=list(columns), columns=columns)


def _in_cell(text: str, **declared) -> list[Suspicion]:
    return find_identifiers([_sheet(remarks=[text])], **declared)


def _rows(found: list[Suspicion]) -> set[int | None]:
    return {each.row for each in found}


@pytest.mark.parametrize(
    ("phrasings", "remarks"), [(FIRST, FIRST_REMARKS), (SECOND, SECOND_REMARKS), (THIRD, SECOND_REMARKS)]
)
@pytest.mark.slow
def test_no_planted_identifier_slips_past(phrasings: Phrasings, remarks: tuple[str, ...]) -> None:
    missed = []
    for number, plant in enumerate(planted(phrasings, count=150, seed=5)):
        columns = clean_columns(rows=30, seed=number, remarks=remarks, sessions=1)
        heading, row = plant.heading or "DEN1 remarks", number % 30
        columns.setdefault(heading, [""] * 30)[row] = plant.text
        found = find_identifiers([sheet_of(columns)], date_columns=date_columns(columns))
        if not any(each.column == heading and each.row in (None, row + 2) for each in found):
            missed.append((plant.kind, plant.heading))
    assert missed == []


@pytest.mark.parametrize("remarks", [FIRST_REMARKS, SECOND_REMARKS])
def test_a_clean_export_raises_no_alarm(remarks: tuple[str, ...]) -> None:
    columns = clean_columns(rows=300, seed=3, remarks=remarks)
    assert find_identifiers([sheet_of(columns)], date_columns=date_columns(columns)) == []


def test_the_planted_identifiers_are_of_all_eighteen_kinds() -> None:
    assert set(FIRST) == set(SECOND) == set(THIRD) == set(KINDS)
    assert len(KINDS) == 18


def test_no_column_or_code_of_the_codebook_raises_an_alarm() -> None:
    for table in TABLES.values():
        columns = {each.name: list(each.codes or ("12", "3.5", "", "P001")) for each in table.all_columns}
        assert find_identifiers([Sheet(file="t.csv", name="", header=list(columns), columns=columns)]) == [], table.name


@pytest.mark.parametrize("label", ["2026Q3", "Q3 2026", "2026", "P07"])
def test_periods_and_years_pass(label: str) -> None:
    assert _in_cell(label) == []


def test_dates_pass_only_in_a_declared_date_column() -> None:
    sheet = _sheet(**{"DEN1 date": ["12/03/2024", "1.4.24", "2024-05-06"]})
    assert find_identifiers([sheet], date_columns=["den1  DATE"]) == []
    found = find_identifiers([sheet])
    assert [(each.kind, each.row, each.severity) for each in found] == [("date", None, STOPS)]


def test_serial_numbers_under_an_undeclared_date_heading_are_refused() -> None:
    sheet = _sheet(**{"scan date": ["45363", "45364", "45400"]})
    assert {each.row for each in find_identifiers([sheet])} == {None}
    assert find_identifiers([sheet], date_columns=["scan date"]) == []


@pytest.mark.parametrize(
    "heading",
    ["Nächname", "PATIENT\nNAME", "  date  of   birth ", "Geburts\u00adname", "Prénom", "e‑mail", "Pаtient name"],
)
def test_a_heading_is_known_whatever_its_accents_case_breaks_and_blanks(heading: str) -> None:
    found = find_identifiers([Sheet(file="a.csv", name="", header=[heading], columns={heading: ["x", "y"]})])
    assert [each.row for each in found] == [None]


def test_a_blank_column_has_nothing_to_refuse() -> None:
    assert find_identifiers([_sheet(surname=["", " ", "-"])]) == []


@pytest.mark.parametrize(
    "text",
    [
        "ｍａｉｌ ａｎｎａ＠ｅｘａｍｐｌｅ．ｏｒｇ",
        "anna\u200b@exam\u00adple.org",
        "аnnа@exаmple.org",
        "tel\u00a007700\u202f900123",
        "tel ０７７００ ９００１２３",
        "tel ٠٧٧٠٠ ٩٠٠١٢٣",
        "МRN 1234567",
        "12‑03‑2024",
    ],
)
def test_full_width_invisible_and_look_alike_characters_hide_nothing(text: str) -> None:
    assert STOPS in {each.severity for each in _in_cell(text)}


@pytest.mark.parametrize(
    "text",
    [
        "anna@example.org",
        "tel 07700 900123",
        "999 000 0018",
        "https://example.org/x",
        "(01)09501101530003",
        "MRN 1234567",
        "born 3.4.1956",
        "d/w Dr Brandelow",
        "12 March 2024",
    ],
)
def test_a_hard_pattern_stops_in_an_accepted_column(text: str) -> None:
    assert _rows(_in_cell(text, accepted=["Remarks"])) == {2}


@pytest.mark.parametrize("text", ["pus ++, daughter present", "seen with Brandelow", "since the 3rd of March"])
def test_what_a_person_has_accepted_passes_where_nothing_is_certain(text: str) -> None:
    assert {each.severity for each in _in_cell(text)} == {UNTIL_ACCEPTED}
    assert _in_cell(text, accepted=["remarks"]) == []


def test_an_accepted_heading_is_not_refused_but_its_cells_are_still_read() -> None:
    sheet = _sheet(record=["x", "y", "call 07700 900123", "z"])
    assert _rows(find_identifiers([sheet], accepted=["record"])) == {4}


@pytest.mark.parametrize("ids", [["P001", "P002", "P017"], ["1", "2", "3"], ["WON-12", "WON-13", "DEN-1"]])
def test_study_codes_pass(ids: list[str]) -> None:
    assert find_identifiers([_sheet(patient_id=ids, Patient=ids)]) == []


def test_a_million_running_codes_pass() -> None:
    ids = [f"P{number:07d}" for number in range(1, 3000)]
    assert find_identifiers([_sheet(patient_id=ids)]) == []


@pytest.mark.parametrize(
    "ids",
    [
        ["40812345", "40899921", "51200344"],
        ["K4081234", "K8992151", "K5120034"],
        ["P120356", "P010171", "P300988"],
        ["19560312-1", "19710130-1", "19880930-2"],
        ["JS01", "AB02", "KL03", "PR04"],
        ["Brandelow", "Kluton", "Skeiski"],
    ],
)
def test_ids_that_are_numbers_of_people_dates_initials_or_names_are_refused(ids: list[str]) -> None:
    assert None in _rows(find_identifiers([_sheet(patient_id=ids)]))


def test_operators_are_pseudonyms() -> None:
    assert find_identifiers([_sheet(operator=["A", "op1", "operator E", "Consultant 2", "A, B"])]) == []
    assert _rows(find_identifiers([_sheet(operator=["A", "B", "brandelow", "A", "B", "A", "A"])])) == {4}


@pytest.mark.parametrize("text", ["True", "False", "TRUE", "FALSE", "true", "bled, perf", "perf, bled", "spinner, net"])
def test_yes_and_no_as_programs_write_them_and_the_words_of_events_pass(text: str) -> None:
    assert _in_cell(text, known_words=["Spinner", "net"]) == []


KNOWN = ("Spinner", "Grabber", "Landing net", "EtOH", "NJ", "Runny", "Muckle shaver")


@pytest.mark.parametrize(
    "text",
    [
        "spinner, grabber",
        "Muckle shaver",
        "MUCKLE  SHAVER",
        "Spinner + Landing net x2",
        "Grabber/Spinner",
        "EtOH",
        "Runny",
        "Grabber then Spinner (x2)?",
        "Grabber -> Muckle shaver",
        "2 x Grabber",
    ],
)
def test_words_that_a_layout_lists_are_known(text: str) -> None:
    assert _in_cell(text, known_words=KNOWN) == []


@pytest.mark.parametrize(
    "text",
    [
        "Spinner, Brandelow",
        "Brandelow, Grabber",
        "Grabber by Brandelow",
        "Spinner, wife",
        "Dr Grabber",
        "Grabber, tel 07700 900123",
        "Grabber 4081234",
        "Spinner 12/03/2024",
        "Mr Muckle shaver",
    ],
)
def test_a_known_word_hides_nothing_that_stands_beside_it(text: str) -> None:
    assert _rows(_in_cell(text, known_words=KNOWN)) == {2}


@pytest.mark.parametrize("text", ["Brandelow 300-200", "Kluton, 250", "Skeiski: 2"])
def test_a_name_before_a_number_is_still_a_name(text: str) -> None:
    assert _rows(_in_cell(text)) == {2}


@pytest.mark.parametrize("text", ["Moderate 250", "Snare 2", "Lavage, 250", "Session 4", "Clavien 3"])
def test_an_ordinary_word_before_a_number_is_none(text: str) -> None:
    assert _in_cell(text) == []


def test_known_words_do_not_make_an_operator_a_pseudonym_or_a_heading_harmless() -> None:
    assert find_identifiers([_sheet(operator=["A", "B", "Grabber", "A", "B", "A"])], known_words=KNOWN)
    assert find_identifiers([_sheet(surname=["Grabber", "Spinner"])], known_words=KNOWN)
    assert find_identifiers([_sheet(x=["net"])], [("a comment", "Grabber, Anna")], known_words=KNOWN)


def test_a_known_word_never_excuses_what_is_certain() -> None:
    assert STOPS in {each.severity for each in _in_cell("12/03/2024", known_words=["12/03/2024"])}


def test_rows_are_those_the_spreadsheet_shows() -> None:
    cells = np.array(["ok", "a@example.org"], dtype=object)
    sheet = Sheet(file="a.xlsx", name="s", header=["x"], columns={"x": cells}, rows=[5, 9])
    assert [(each.kind, each.row) for each in find_identifiers([sheet])] == [("email", 9)]


def test_many_bad_cells_condemn_their_column_and_few_do_not() -> None:
    many = [f"a{number}@example.org" for number in range(30)] + ["ok"] * 70
    assert [each.row for each in find_identifiers([_sheet(x=many)])] == [None]
    assert len(find_identifiers([_sheet(x=many[-75:])])) == 5


def test_other_texts_and_the_names_of_files_and_sheets_are_looked_at() -> None:
    sheet = Sheet(file="Brandelow_Anna.xlsx", name="MRN 1234567", header=["x"], columns={"x": ["1"]})
    found = find_identifiers([sheet], [("comment at DEN!B3", "rang 07700 900123"), ("document title", "DEN list")])
    assert {each.where for each in found} == {"name of file 1", "name of sheet 1", "comment at DEN!B3"}


def test_no_value_is_ever_held_or_shown() -> None:
    secret = "Brandelow, Anna"
    columns = {secret: ["1"], "Remarks": [f"d/w Dr {secret}, anna@example.org"], "12/03/1956": ["x@example.org"]}
    sheet = Sheet(file=f"{secret}.xlsx", name=secret, header=list(columns), columns=columns)
    found = find_identifiers([sheet], [(f"comment by Dr {secret}", secret)])
    told = repr(found) + refusal_text(found) + repr(sheet)
    assert len({each.column for each in found}) >= 3
    for part in ("Brandelow", "Anna", "anna", "example.org", "1956"):
        assert part not in told


@settings(deadline=None, derandomize=True, max_examples=60)
@given(cells=st.lists(st.text(max_size=60), max_size=6), heading=st.text(max_size=20))
def test_no_text_makes_the_check_raise(cells: list[str], heading: str) -> None:
    found = find_identifiers([Sheet(file="f", name="s", header=[heading], columns={heading: cells})])
    assert all(each.kind in KINDS and (each.row is None or 1 <= each.row <= len(cells) + 1) for each in found)


@settings(deadline=None, derandomize=True, max_examples=30)
@given(order=st.permutations(range(8)))
def test_the_order_of_rows_changes_only_the_row_numbers(order: list[int]) -> None:
    cells = ["pus", "a@example.org", "2 passes", "net", "snare", "tel 07700 900123", "soft", "tough"]
    found = find_identifiers([_sheet(x=[cells[each] for each in order])])
    assert {(each.kind, order[each.row - 2]) for each in found} == {("email", 1), ("telephone", 5)}


def test_a_sheets_name_that_somebody_wrote_into_a_layout_stops_only_for_more_than_its_look() -> None:
    def found(name: str, vouched: bool) -> bool:
        return bool(find_identifiers([Sheet(file="a.xlsx", name=name, header=[], columns={}, vouched=vouched)]))

    assert found("Brandelow", vouched=False) and not found("Brandelow", vouched=True)
    assert (
        found("MRN 1234567", vouched=True) and found("Margaret", vouched=True) and found("Dr Brandelow", vouched=True)
    )
