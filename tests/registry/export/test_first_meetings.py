"""What exports of units that nobody here had seen stumbled over when somebody with only the README tried them."""

from __future__ import annotations

import pytest

from builders.exports import HEADINGS, INDEX, TOP, WIDE, read, read_wide, told, wide_line
from necrostats.registry.quantities import read_quantity

BY_SESSION = (
    TOP
    + """
[[sheet]]
name = "Scopes"
patient = "P"
[[sheet.rows]]
table = "patients"
columns = { "Index" = { to = "index_date", session = false } }
[[sheet.rows]]
table = "sessions"
columns = { "Scope" = "session", "Date" = "day" }
constants = { session_type = "necrosectomy" }
[[sheet]]
name = "Tools"
session = "Scope"
[[sheet.rows]]
table = "instrument_uses"
columns = { "Tool" = "instrument_class" }
[[sheet]]
name = "Events"
session = "Scope"
[[sheet.rows]]
table = "adverse_events"
columns = { "What" = "event_type", "When" = "day" }
"""
)


def test_a_sheet_whose_rows_name_a_session_gives_its_uses_and_events_to_that_session(tmp_path):
    sheets = {
        "Scopes": [["P", "Index", "Scope", "Date"], ["1", INDEX, "S-7", "10/03/24"]],
        "Tools": [["Scope", "Tool"], ["S-7", "snare"]],
        "Events": [["Scope", "What", "When"], ["S-7", "bleeding", "11/03/24"]],
    }
    registry = read(tmp_path, sheets, BY_SESSION).registry
    session = registry.sessions["session_id"].astype(object).tolist()
    assert registry.instrument_uses["session_id"].astype(object).tolist() == session
    assert registry.adverse_events["session_id"].astype(object).tolist() == session


def test_what_belongs_to_a_session_set_aside_is_never_lost_unsaid(tmp_path):
    sheets = {
        "Scopes": [["P", "Index", "Scope", "Date"], ["1", INDEX, "S-7", "10/03/24"], ["1", INDEX, "S-8", "31/02/24"]],
        "Tools": [["Scope", "Tool"], ["S-7", "snare"], ["S-8", "net"], ["S-99", "net"]],
        "Events": [["Scope", "What", "When"], ["S-8", "bleeding", "12/03/24"], ["S-99", "bleeding", "12/03/24"]],
    }
    found = read(tmp_path, sheets, BY_SESSION)
    events = found.registry.adverse_events
    assert events["event_type"].astype(object).tolist() == ["bleeding"] and events["session_id"].isna().all()
    assert [place[:3] for place in told(found, "PARENT_SET_ASIDE")] == [("Events", 2, "Scope"), ("Tools", 3, "Scope")]
    assert [place[:3] for place in told(found, "NO_PATIENT")] == [("Events", 3, "Scope"), ("Tools", 4, "Scope")]
    aside = found.registry.set_aside
    assert set(zip(aside["sheet"], aside["row"], aside["scope"], strict=True)) >= {
        ("Tools", 3, "row"),
        ("Tools", 4, "row"),
        ("Events", 2, "cell"),
        ("Events", 3, "row"),
    }


def with_words(words, synonyms=""):
    return WIDE.replace("[[sheet]]", f"{synonyms}[words]\n{words}\n[[sheet]]", 1)


def test_a_columns_own_synonyms_come_before_the_small_words(tmp_path):
    layout = with_words('no_event = ["não"]\nnegation = ["sem"]', '[synonyms.event_type]\n"sem queixas" = "other"\n')
    found = read_wide(tmp_path, wide_line(DEN1_date="10/03/24", DEN1_compl="sem queixas"), layout=layout)
    assert found.registry.adverse_events["event_type"].astype(object).tolist() == ["other"]


@pytest.mark.parametrize(("typed", "size"), [("spår", "trace"), ("Måttligt", "moderate"), ("mattligt", "moderate")])
def test_a_word_for_an_amount_is_known_with_and_without_its_accents(typed, size):
    assert read_quantity(typed, words={"spar": "trace", "mattligt": "moderate"}).words == size


def test_words_for_out_and_in_may_carry_accents(tmp_path):
    layout = with_words('out = ["saída"]\nin = ["entrada"]').replace('order = "day_first"', 'order = "day_first"')
    line = wide_line(DEN1_date="10/03/24", DEN1_yield="900 ml saída (500 ml entrada)")
    registry = read_wide(tmp_path, line, layout=layout).registry
    held = registry.sessions[registry.sessions["session_type"] == "necrosectomy"].iloc[0]
    assert (held["yield_low"], held["lavage_in_ml"]) == (400, 500)
    assert held["yield_as_written"] == "900 ml saída (500 ml entrada)"


@pytest.mark.parametrize(
    ("written", "low", "high"),
    [("bis 50 ml", 0, 50), ("240 bis 290 ml", 240, 290), ("tot 50 ml", 0, 50), ("bis zu 50 ml", 0, 50)],
)
def test_a_word_for_to_before_one_number_is_a_limit_and_between_two_a_range(written, low, high):
    found = read_quantity(written)
    assert (found.low, found.high, found.problem) == (low, high, "")


def test_a_word_beside_a_number_is_asked_about():
    found = read_quantity("viel, ca. 400 ml")
    assert (found.low, found.approximate) == (400, True) and "a word for an amount" in found.question


@pytest.mark.parametrize("written", ["16", "dag 16", "Tag 16", "day 16", "D+16", "J16", "16 days", "+16"])
def test_a_day_counted_from_the_drainage_may_carry_the_word_for_it(tmp_path, written):
    layout = WIDE.replace('"DEN{n} date" = "day"', '"DEN{n} date" = { to = "day", days = true }')
    registry = read_wide(tmp_path, wide_line(DEN1_date=written), layout=layout).registry
    assert registry.sessions["day"].tolist() == [0, 16]


@pytest.mark.parametrize(
    "written", ["sem sangramento", "geen bleeding", "ingen bleeding", "utan bleeding", "sem bleeding"]
)
def test_a_negated_event_is_never_an_event_whatever_the_language(tmp_path, written):
    found = read_wide(tmp_path, wide_line(DEN1_date="10/03/24", DEN1_compl=written))
    assert found.registry.adverse_events.empty


def test_about_so_large_is_asked_about(tmp_path):
    layout = (
        TOP
        + """
[[sheet]]
name = "S"
patient = "P"
[[sheet.rows]]
table = "patients"
columns = { "Index" = "index_date" }
[[sheet.rows]]
table = "collections"
columns = { "Size" = { to = "size", unit = "mm" } }
"""
    )
    found = read(tmp_path, {"S": [["P", "Index", "Size"], ["1", INDEX, "ca 40"]]}, layout)
    assert found.registry.collections["long_mm"].tolist() == [40]
    problems = found.registry.findings["problem"]
    assert problems.str.contains("is about so much, and is kept as that size").any()


def test_a_code_that_looks_like_another_is_proposed(tmp_path):
    layout = (
        WIDE
        + """
[[sheet]]
name = "More"
patient = "Study no"
[[sheet.rows]]
table = "scans"
columns = { "Day" = "day" }
"""
    )
    sheets = {
        "DEN": [HEADINGS, wide_line("SU-008")],
        "More": [["Study no", "Day"], ["SU-O08", "10/03/24"], ["SU-0l8", "11/03/24"], ["XX-9", "12/03/24"]],
    }
    problems = read(tmp_path, sheets, layout).registry.findings["problem"]
    assert (
        problems.str.contains("patients: 1); one is there that looks like it (the letter O for 0", regex=False).sum()
        == 1
    )
    assert problems.str.contains("rows so: 2, patients: 2)", regex=False).sum() == 2


def test_a_stent_that_is_out_in_german(tmp_path):
    layout = (
        TOP
        + """
[[sheet]]
name = "S"
patient = "P"
[[sheet.rows]]
table = "patients"
columns = { "Index" = "index_date" }
[[sheet.rows]]
table = "stents"
columns = { "Stent" = "stent", "In" = "placed_day", "Ende" = "end" }
"""
    )
    found = read(
        tmp_path,
        {"S": [["P", "Index", "Stent", "In", "Ende"], ["1", INDEX, "LAMS 15", INDEX, "ex 16.03.2024"]]},
        layout,
    )
    stent = found.registry.stents.iloc[0]
    assert stent["removed_day"] == 15 and str(stent["end_reason"]) in ("<NA>", "nan", "planned")
    assert told(found, "NOT_A_DATE") == []


def test_words_for_no_event_say_nothing_of_other_columns(tmp_path):
    layout = with_words('no_event = ["nee"]\nnegation = ["geen"]', '[synonyms.clearance]\n"geen" = "none"\n').replace(
        '"DEN{n} tools" = "instruments"', '"DEN{n} tools" = "clearance"'
    )
    layout += """
[[sheet.rows]]
table = "reviews"
columns = { "DEN2 yield" = "symptom_free", "DEN2 date" = "day" }
"""
    layout = layout.replace('numbers = "1-2"', "numbers = [1]").replace(
        "[words]", '[synonyms.yes_no]\n"nee" = "no"\n[words]', 1
    )
    line = wide_line(DEN1_date="10/03/24", DEN1_tools="geen", DEN2_date="20/03/24", DEN2_yield="nee", DEN1_compl="nee")
    registry = read_wide(tmp_path, line, layout=layout).registry
    assert registry.reviews["symptom_free"].tolist() == [False]
    assert registry.sessions["clearance"].astype(object).tolist()[-1] == "none"
    assert registry.adverse_events.empty and bool(registry.sessions["events_checked"].iloc[-1])


def test_a_row_that_differs_from_one_above_in_how_its_code_is_typed_only_counts_once(tmp_path):
    layout = WIDE.replace("[[sheet]]", '[ids]\nignore = ["hyphens"]\n[[sheet]]', 1)
    lines = [wide_line(key, DEN1_date="10/03/24") for key in ("WON-007", "WON007", "WON-008")]
    found = read_wide(tmp_path, *lines, layout=layout)
    assert len(found.registry.patients) == 2 and len(found.registry.sessions) == 4
    assert told(found, "DUPLICATE_ROW")[0][:2] == ("DEN", 3)


def test_a_sheet_left_out_by_its_name_is_not_found_by_a_pattern_and_rows_are_skipped_by_number_and_word(tmp_path):
    layout = WIDE.replace('name = "DEN"', 'name = "DEN*"\nskip_rows = ["Mean", 3]').replace("[[sheet]]", "", 1)
    layout = layout.replace('name = "DEN*"', '[[sheet]]\nname = "DEN*"', 1).replace(
        "format = 1", 'format = 1\nignore_sheets = ["DEN (2)"]', 1
    )
    sheets = {
        "DEN": [HEADINGS, wide_line("1"), wide_line("2"), wide_line("Mean")],
        "DEN (2)": [HEADINGS, wide_line("9")],
    }
    assert len(read(tmp_path, sheets, layout).registry.patients) == 1


def test_a_sheet_may_be_two_forms_side_by_side(tmp_path):
    form = """
[[sheet]]
name = "F*"
patient = "{{sheet}}"
labels = "{}"
values = "{}"
[[sheet.rows]]
table = "{}"
columns = {{ {} }}
"""
    layout = TOP + form.format("A", "B", "patients", '"Index" = "index_date", "Age" = "age_years"')
    layout += form.format("D", "E", "collections", '"Site" = "site"')
    rows = [["Index", INDEX, "", "Site", "pelvis"], ["Age", 50, "", "", ""]]
    registry = read(tmp_path, {"F-1": rows, "F-2": rows}, layout).registry
    assert registry.patients["age_years"].tolist() == [50, 50]
    assert registry.collections["site"].astype(object).tolist() == ["pelvic", "pelvic"]
