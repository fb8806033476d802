"""Codes, ids, yes and no, periods and texts.

One plain number a cell, never a wrong one.
"""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.registry.codebook import SCANS, TABLES
from necrostats.registry.findings import Verdict
from necrostats.registry.text import as_code
from necrostats.registry.tidy_cells import are_plain_ids, number_of, read_cell

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
    found = read_cell("snarr", CLASS)
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
        assert len({as_code(code) for code in column.codes}) == len(column.codes)
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


MM = SCANS.column("long_mm")
PASSES = SESSIONS.column("passes")
DAY = SESSIONS.column("day")
AGE = PATIENTS.column("age_years")
PEROXIDE = SESSIONS.column("peroxide_percent")
ASA, CALIBER = PATIENTS.column("asa_class"), TABLES["stents"].column("caliber_fr")
YIELD, MINUTES = SESSIONS.column("yield_low"), SESSIONS.column("minutes_total")


def rule_tidy_numbers(text, column=MM, comma=False):
    found = number_of(text, column, comma)
    return found.rule if isinstance(found, Verdict) else found


@pytest.mark.parametrize(
    ("text", "value"), [("12", 12), ("12.0", 12), ("0", 0), (".5", 0.5), ("1.234", 1.234), ("1e2", 100)]
)
def test_plain_numbers_are_read(text, value):
    assert number_of(text, MM, False) == value


@pytest.mark.parametrize("text", ["200-300", "200 to 300", "200–300", ">50", "≥50", "at least 50", "up to 50", "50+"])
def test_a_range_or_an_open_end_is_not_one_number(text):
    assert rule_tidy_numbers(text) == "RANGE"


@pytest.mark.parametrize("text", ["~250", "250 ml", "2 x 150", "100 + 150", "1,200", "inf", "0x10", "1_000", "١٢"])
def test_what_is_not_a_plain_number_is_never_guessed(text):
    assert rule_tidy_numbers(text) == "NOT_A_NUMBER"


@pytest.mark.parametrize("semicolons", [True, False])
def test_a_decimal_comma_is_read_and_said(semicolons):
    found = number_of("12,5", MM, semicolons)
    assert found.value == 12.5 and found.rule == "DECIMAL_COMMA" and found.severity == "notes"


@pytest.mark.parametrize(
    ("text", "column", "typed"),
    [
        ("200-300", YIELD, "200-300: yield_low 200, yield_high 300."),
        (">500", YIELD, ">500: yield_low 500, yield_high left blank."),
        ("<50", YIELD, "<50: yield_low 0, yield_high 50."),
        ("~150", YIELD, "~150: yield_low 150, yield_high 150, yield_approximate yes."),
        ("0.3 L", YIELD, "0.3 L: yield_low 300, yield_high 300, yield_unit ml."),
        ("8 cm", MM, "8 cm: 80."),
        ("1 h", MINUTES, "1 h: 60."),
        ("3 passes", PASSES, "3 passes: 3."),
        ("5-7", DAY, "5-7: day 5, day_latest 7."),
    ],
)
def test_a_remedy_says_what_to_type(text, column, typed):
    assert number_of(text, column, False).remedy == typed


@pytest.mark.parametrize("text", ["90+", "> 89", ">90", "over 89", "≥90"])
def test_an_age_of_90_and_over_may_be_written_so(text):
    found = number_of(text, AGE, False)
    assert (found.value, found.rule, found.withheld) == (90.0, "AGE_90", True)


@pytest.mark.parametrize("text", ["89+", "> 88", "> 91"])
def test_any_other_open_age_is_not_read(text):
    assert number_of(text, AGE, False).value is None


def test_a_common_word_for_a_code_is_read_and_said():
    found = read_cell("F", PATIENTS.column("sex"))
    assert (found.value, found.severity, found.problem) == ("female", "notes", "was read as female")


@pytest.mark.parametrize("text", ["1,200", "1.200", "12.345"])
def test_a_thousand_or_a_decimal_is_not_guessed_in_a_file_separated_by_semicolons(text):
    assert rule_tidy_numbers(text, comma=True) == "NOT_A_NUMBER"


def test_a_zero_before_the_comma_makes_a_decimal():
    assert number_of("0,125", MM, True).value == 0.125


def test_a_decimal_comma_off_the_scale_still_stops():
    assert rule_tidy_numbers("6,5", PEROXIDE, comma=True) == "OFF_SCALE"
    asked = number_of("3,5", PEROXIDE, True)
    assert asked.rule == "UNLIKELY" and asked.value == 3.5


def test_a_whole_number_is_not_rounded():
    assert rule_tidy_numbers("12.5", PASSES) == "NOT_WHOLE"
    assert number_of("12.0", PASSES, False) == 12


@pytest.mark.parametrize(
    ("text", "expected"), [("-1", "OFF_SCALE"), ("401", "UNLIKELY"), ("400", 400.0), ("1e20", "OFF_SCALE")]
)
def test_limits_stop_and_likely_limits_ask(text, expected):
    assert rule_tidy_numbers(text) == expected


def test_an_unlikely_value_is_kept_as_it_stands():
    assert number_of("1200", MM, False).value == 1200


@pytest.mark.parametrize("text", ["31/02/2026", "45363", "20240312", "Mar-24", "2024-03-12 00:00:00", "03.2024"])
def test_a_calendar_date_or_a_serial_number_in_a_day_is_withheld(text):
    found = number_of(text, DAY, False)
    assert found.rule == "CALENDAR_DATE" and found.withheld and text not in found.problem


def test_a_date_in_any_other_number_is_withheld_too():
    assert number_of("2024-03-12", MM, False).withheld


@pytest.mark.parametrize("text", ["91", "104", "119"])
def test_an_age_over_90_becomes_90_and_is_never_shown(text):
    found = number_of(text, AGE, False)
    assert found.value == 90 and found.withheld and found.severity == "notes" and text not in found.problem


def test_90_itself_needs_no_word():
    assert number_of("90", AGE, False) == 90


@pytest.mark.parametrize("text", ["130", "1931", "91-93", "about 95", "95.5"])
def test_an_age_that_cannot_be_read_is_withheld_if_it_may_be_over_89(text):
    found = number_of(text, AGE, False)
    assert found.severity == "stops" and found.withheld and found.value is None
    assert text not in found.problem + found.remedy


def test_a_minor_is_asked_about():
    assert rule_tidy_numbers("17", AGE) == "UNLIKELY"
    assert rule_tidy_numbers("17.5", AGE) == "NOT_WHOLE"


@settings(deadline=None, derandomize=True, max_examples=300)
@given(text=st.text(max_size=12), comma=st.booleans(), column=st.sampled_from([MM, PASSES, DAY, AGE, PEROXIDE]))
def test_any_text_is_a_number_or_unknown_or_a_verdict(text, comma, column):
    found = number_of(text.strip(), column, comma)
    assert found is None or isinstance(found, float | Verdict)


@settings(deadline=None, derandomize=True, max_examples=100)
@given(value=st.floats(0, 400, allow_subnormal=False).map(lambda value: round(value, 6)))
def test_what_python_writes_is_read_back_in_a_file_separated_by_commas(value):
    assert number_of(f"{value:.6f}", MM, False) == value


@pytest.mark.parametrize(
    ("text", "column", "value"),
    [
        ("45 mm", MM, 45),
        ("45 min", MINUTES, 45),
        ("7 Fr", CALIBER, 7),
        ("III", ASA, 3),
        ("iv", ASA, 4),
        ("3%", PEROXIDE, 3),
    ],
)
def test_a_number_with_the_unit_of_its_column_and_a_class_in_roman_numerals_are_read_and_said(text, column, value):
    found = read_cell(text, column)
    assert (found.value, found.severity, found.rule) == (value, "notes", "READ_AS")


@pytest.mark.parametrize(("text", "column"), [("45 cm", MM), ("VI", ASA), ("III", PASSES), ("-4 mm", MM)])
def test_another_unit_and_any_other_numeral_are_not(text, column):
    assert read_cell(text, column).severity == "stops"


def test_a_word_for_a_code_that_is_not_its_abbreviation_stops():
    assert rule("fell out", TABLES["stents"].column("end_reason")) == "NOT_LISTED"
