from datetime import date

import pytest

from builders.exports import HEADINGS, WIDE, read_wide, told, wide_line

LAYOUT = (
    WIDE
    + """
[sheet.rows.overflow]
column = "DEN3+"
between = ";"
parts = ["DEN{n} date", "DEN{n} tools", "DEN{n} yield"]
between_parts = "|"
"""
)


def with_rest(tmp_path, written):
    line = [*wide_line(DEN1_date=date(2024, 3, 8)), written]
    return read_wide(tmp_path, line, layout=LAYOUT, headings=[*HEADINGS, "DEN3+"])


@pytest.mark.parametrize(
    "written", ["29/03/24 | snare+net | 100 ml; 05/04/24 | basket", "29/03/24|snare+net|100\n05/04/24|basket|"]
)
def test_the_rest_column_is_read_whole(tmp_path, written):
    found = with_rest(tmp_path, written)
    assert found.registry.sessions["day"].tolist() == [0, 7, 28, 35]
    assert found.registry.sessions["yield_low"].to_numpy(na_value=-1).tolist() == [-1, -1, 100, -1]
    assert found.registry.instrument_uses["instrument_class"].astype(object).tolist() == ["snare", "net", "basket"]


@pytest.mark.parametrize(
    "written",
    [
        "four more in June",
        "29/03/24 | snare; later",
        "Apr-24 | snare",
        "29/03/24 | wand",
        "29/03/24 | snare | 1 | 2",
        "29/03/24 | snare | 300-200",
        "31/02/24",
    ],
)
def test_what_cannot_be_read_whole_is_set_aside_whole(tmp_path, written):
    found = with_rest(tmp_path, written)
    assert found.registry.sessions["day"].tolist() == [0, 7]
    assert told(found, "OVERFLOW") == [("DEN", 2, "DEN3+", "value withheld")]
    aside = found.registry.set_aside
    lost = aside[(aside["table"] == "sessions") & (aside["scope"] == "row")]
    assert lost["patient_id"].tolist() == ["P0001"]


@pytest.mark.parametrize("written", ["", "-", "n/a"])
def test_a_blank_rest_column_is_no_session(tmp_path, written):
    found = with_rest(tmp_path, written)
    assert len(found.registry.sessions) == 2
    assert found.registry.set_aside.empty


def with_blanks_between(tmp_path, written):
    line = [*wide_line(DEN1_date=date(2024, 3, 8)), written]
    layout = LAYOUT.replace('between_parts = "|"', 'between_parts = " "')
    return read_wide(tmp_path, line, layout=layout, headings=[*HEADINGS, "DEN3+"])


@pytest.mark.parametrize(
    "written",
    [
        "3) 29/03/24 snare+net 100 ml; 4) 05/04/24 basket",
        "29/03/24 snare + net ~ 100 ml; 05/04/24 basket",
        "(3) 29/03/24 snare, then net 100",
    ],
)
def test_where_only_blanks_stand_between_the_parts_they_are_cut_where_all_of_them_read(tmp_path, written):
    found = with_blanks_between(tmp_path, written)
    assert found.registry.sessions["day"].tolist()[:3] == [0, 7, 28]
    assert found.registry.sessions["yield_low"].to_numpy(na_value=-1).tolist()[2] == 100
    assert found.registry.instrument_uses["instrument_class"].astype(object).tolist()[:2] == ["snare", "net"]


@pytest.mark.parametrize("written", ["29/03/24 wand 100 ml", "29/03/24 100 200 300 400", "29/03/24 snare " + "x " * 20])
def test_what_reads_in_no_way_is_set_aside_whole(tmp_path, written):
    found = with_blanks_between(tmp_path, written)
    assert found.registry.sessions["day"].tolist() == [0, 7]
    assert told(found, "OVERFLOW") == [("DEN", 2, "DEN3+", "value withheld")]


def test_of_two_ways_the_one_with_more_parts_is_meant(tmp_path):
    """ "snare 210 ml" and no yield would not read; "net" after an amount could be a net amount or the instrument."""
    layout = LAYOUT.replace(
        'parts = ["DEN{n} date", "DEN{n} tools", "DEN{n} yield"]',
        'parts = ["DEN{n} date", "DEN{n} yield", "DEN{n} tools"]',
    ).replace('"|"', '" "')
    line = [*wide_line(DEN1_date=date(2024, 3, 8)), "29/03/24 210 ml net"]
    found = read_wide(tmp_path, line, layout=layout, headings=[*HEADINGS, "DEN3+"])
    assert found.registry.sessions["yield_low"].to_numpy(na_value=-1).tolist()[2] == 210
    assert found.registry.instrument_uses["instrument_class"].astype(object).tolist() == ["net"]
