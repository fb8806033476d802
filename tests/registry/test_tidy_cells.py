"""Codes, ids, yes and no, periods and texts."""

from __future__ import annotations

import pytest

from necrostats.registry.codebook import TABLES
from necrostats.registry.tidy_cells import are_plain_ids, fold, read_cell
from necrostats.registry.verdicts import Verdict

USES, EVENTS, SESSIONS, PATIENTS = (
    TABLES[name] for name in ("instrument_uses", "adverse_events", "sessions", "patients")
)
CLASS, GRADE = USES.column("instrument_class"), EVENTS.column("agree_grade")
ID, PERIOD, OPERATOR = PATIENTS.column("patient_id"), PATIENTS.column("index_period"), SESSIONS.column("operator")


def rule(text, column):
    found = read_cell(text, column)
    return found.rule if isinstance(found, Verdict) else found


@pytest.mark.parametrize("text", ["snare", " Snare ", "SNARE"])
def test_a_code_is_read_whatever_its_case_and_blanks(text):
    assert read_cell(text, CLASS) == "snare"


def test_blanks_in_a_code_may_stand_for_its_underscore():
    assert read_cell("Cap  suction", CLASS) == "cap_suction"


def test_a_code_off_the_list_stops_with_the_nearest_and_never_becomes_other():
    found = read_cell("snares", CLASS)
    assert found.rule == "NOT_LISTED" and found.value is None
    assert 'nearest is "snare"' in found.problem and "rotating_brush" in found.remedy


@pytest.mark.parametrize("text", ["snare+net", "snare, net", "snare and net", "snare;lavage", "cap_suction/net"])
def test_two_codes_in_one_cell_stop(text):
    assert rule(text, CLASS) == "TWO_CODES"


def test_a_question_mark_is_the_instrument_unknown_but_elsewhere_only_unknown():
    assert read_cell("?", CLASS) == "unknown"
    assert read_cell("", CLASS) is None
    assert read_cell("?", GRADE) is None


def test_grades_keep_their_small_letters_apart():
    assert [read_cell(text, GRADE) for text in ("iiia", "IIIB", "v")] == ["IIIa", "IIIb", "V"]


@pytest.mark.parametrize("table", TABLES.values(), ids=list(TABLES))
def test_no_two_codes_of_a_column_fold_to_one_and_each_reads_as_itself(table):
    for column in table.columns:
        assert len({fold(code) for code in column.codes}) == len(column.codes)
        assert [read_cell(code, column) for code in column.codes] == list(column.codes)


@pytest.mark.parametrize(
    ("text", "value"),
    [("yes", 1), ("Y", 1), ("TRUE", 1), ("1", 1), ("no", 0), ("n", 0), ("false", 0), ("0", 0), ("?", None)],
)
def test_yes_and_no_in_their_plain_forms(text, value):
    assert read_cell(text, USES.column("is_primary")) == value


def test_other_answers_to_yes_or_no_stop():
    assert rule("maybe", USES.column("is_primary")) == "NOT_YES_NO"
    assert rule("2", USES.column("is_primary")) == "NOT_YES_NO"


def test_ids_do_not_mind_case_and_blanks_but_keep_their_zeros():
    assert read_cell(" p007 ", ID) == "P007"
    assert read_cell("7", ID) != read_cell("007", ID)
    assert read_cell("n/a", ID) is None
    assert rule("2026-03-12", ID) == "CALENDAR_DATE"


def test_the_short_way_for_plain_ids_reads_what_the_long_way_reads():
    texts = ["P01", "C0001-1", "p01", " P01", "", "NA", "2024-03-12", "12-03-2024", "NULL", "A_1", "-", "#N/A", "12/03"]
    plain = [text for text in texts if are_plain_ids([text])]
    assert plain == ["P01", "C0001-1", "A_1"]
    assert are_plain_ids(plain) and not are_plain_ids([*plain, "p01"])
    assert [read_cell(text, ID) for text in plain] == plain


def test_several_ids_are_parted_by_semicolons_and_counted_once():
    assert read_cell(" c1 ; C2;c1;", SESSIONS.column("also_treated")) == "C1;C2"
    assert read_cell(";", SESSIONS.column("also_treated")) is None


@pytest.mark.parametrize(("text", "value"), [("2026Q3", "2026Q3"), (" 2026 q3", "2026Q3"), ("p07", "P07"), ("-", None)])
def test_periods_are_read(text, value):
    assert read_cell(text, PERIOD) == value


@pytest.mark.parametrize("text", ["2026Q5", "spring", "0001Q1", "9999Q4", "P99999999999", "2026", "Q3"])
def test_what_is_no_likely_period_stops(text):
    assert rule(text, PERIOD) == "NOT_A_PERIOD"


def test_a_date_where_a_period_belongs_is_withheld():
    assert read_cell("2026-07-01", PERIOD).withheld


def test_text_is_kept_but_a_date_in_it_is_withheld():
    assert read_cell("  see report ", SESSIONS.column("yield_as_written")) == "see report"
    assert rule("12 March 2024", OPERATOR) == "CALENDAR_DATE"


def test_a_formula_error_stops_in_every_kind_but_text():
    for column in (ID, CLASS, PERIOD, USES.column("is_primary"), USES.column("minutes")):
        assert rule("#N/A", column) == "NO_VALUE"
