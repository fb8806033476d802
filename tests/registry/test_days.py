"""Dates as written: first and last day, offsets from the index drainage, and no date left behind."""

from __future__ import annotations

import re
from datetime import date, datetime, time

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.errors import ChoiceError
from necrostats.registry.days import (
    _NAMES,
    MONTHS,
    from_serial,
    month_number,
    precision_shown,
    quarter,
    read_date,
    sequential_periods,
)
from necrostats.registry.text import Unread

THE_DAY = date(2024, 3, 12)
MARCH = (date(2024, 3, 1), date(2024, 3, 31))
DATES = st.dates(min_value=date(1970, 1, 1), max_value=date(2068, 12, 31))


def _ends(text, **about):
    found = read_date(text, **about)
    return found.first, found.last


@pytest.mark.parametrize(
    "text",
    [
        "2024-03-12",
        "2024-3-12",
        "2024/03/12",
        "20240312",
        "12.03.2024",
        "12.3.24",
        "12. 3. 2024",
        "12-Mar-24",
        "12 March 2024",
        "12Mar2024",
        "March 12, 2024",
        "12th March 2024",
        "12th of March, 2024",
        "2024-Mar-12",
        "Tue 12 March 2024",
        "Tuesday, 12.03.2024",
        "2024-03-12 14:30",
        "2024-03-12T14:30:00Z",
        "2024-03-12T14:30:00.000+01:00",
        "12 Mar 2024 2 pm",
        "12. März 2024",
        "12. Mrz. 2024",
        "12 mars 2024",
        "12 de marzo de 2024",
        "12 maart 2024",
        "12 marzo 2024",
        "2024-W11-2",
        "１２.０３.２０２４",
    ],
)
def test_a_date_with_one_reading_is_read_whatever_the_layout_says(text):
    for day_first in (None, True):
        found = read_date(text, day_first=day_first)
        assert (found.first, found.last, found.problem, found.question) == (THE_DAY, THE_DAY, "", "")
        assert found.exact and found.as_written == text


def test_the_order_of_day_and_month_comes_from_the_layout_and_is_never_guessed():
    assert _ends("12/03/24", day_first=True) == (THE_DAY, THE_DAY)
    assert _ends("03/12/24", day_first=False) == (THE_DAY, THE_DAY)
    for text in ("12/03/24", "12-03-2024", "12 03 2024", "13/03/2024", "03/13/2024"):
        found = read_date(text)
        assert not found.known and "layout does not say" in found.problem
    assert read_date("03/13/2024", day_first=True).problem == "is not a date with the day first"
    assert read_date("13.03.2024", day_first=False).problem == "is not a date with the month first"


@pytest.mark.parametrize(
    "text", ["31/02/2026", "31.02.2026", "2026-02-31", "29 February 2023", "32 March 2024", "2024-W54", "12.00.2024"]
)
def test_an_impossible_date_is_not_a_date(text):
    for day_first in (None, True):
        assert read_date(text, day_first=day_first).problem == "is not a date"


@pytest.mark.parametrize(
    "text",
    [
        "Mar-24",
        "Mar '24",
        "March 2024",
        "mars 2024",
        "03/2024",
        "2024-03",
        "00.03.2024",
        "2024-03-00",
        "2024 March",
        "März 2024",
    ],
)
def test_a_month_without_a_day_is_a_range(text):
    found = read_date(text)
    assert (found.first, found.last) == MARCH and not found.exact and not found.problem


@pytest.mark.parametrize(
    ("text", "first", "last"),
    [
        ("early April 2024", date(2024, 4, 1), date(2024, 4, 10)),
        ("mid April 2024", date(2024, 4, 11), date(2024, 4, 20)),
        ("mid-April 2024", date(2024, 4, 11), date(2024, 4, 20)),
        ("late Feb 2024", date(2024, 2, 21), date(2024, 2, 29)),
        ("end of Feb 2023", date(2023, 2, 21), date(2023, 2, 28)),
        ("2024", date(2024, 1, 1), date(2024, 12, 31)),
        ("00.00.2024", date(2024, 1, 1), date(2024, 12, 31)),
    ],
)
def test_part_of_a_month_and_a_bare_year_are_ranges_and_asked_about(text, first, last):
    found = read_date(text)
    assert (found.first, found.last) == (first, last) and found.question


def test_a_quarter_and_an_iso_week_are_ranges():
    assert _ends("2026Q3") == _ends("Q3 2026") == (date(2026, 7, 1), date(2026, 9, 30))
    assert _ends("2024-W11") == (date(2024, 3, 11), date(2024, 3, 17))


@pytest.mark.parametrize(
    "text",
    [
        "early April",
        "April",
        "12 March",
        "24-Mar",
        "12/03",
        "03/24",
        "12.3.",
        "Mar 24",
        "12-14 March 2024",
        "12/03/24-14/03/24",
        "~12 March 2024",
        "12 March 2024?",
        "mid 2024",
        "Mon 12 March 2024",
        "12032024",
        "1712-03-01",
        "12.03.024",
        "99999999999",
        "12.03.2024 99:99",
        "same",
        "#REF!",
        "tomorrow",
        "12.03",
        "4536",
        "12/March-2024 or later",
    ],
)
def test_what_is_not_one_date_is_set_aside(text):
    found = read_date(text, day_first=True, date_system="1900")
    assert found.problem and not found.known and found.rule == "set aside"


@pytest.mark.parametrize("cell", ["", "-", "n/a", "?", "not recorded", None, float("nan"), pd.NaT])
def test_a_blank_date_is_unknown(cell):
    found = read_date(cell)
    assert (found.rule, found.known, found.problem) == ("blank", False, "")


def test_two_digit_years_turn_at_69():
    assert read_date("1 Jan 68").first.year == 2068
    assert read_date("1 Jan 69").first.year == 1969


def test_every_month_name_stands_for_one_month():
    words = " ".join(_NAMES).split()
    assert len(words) == len(set(words)) == len(MONTHS)
    assert [month_number(word) for word in ("août", "décembre", "märz", "jänner", "mayo", "mei", "giugno")] == [
        8,
        12,
        3,
        1,
        5,
        5,
        6,
    ]


# Office Open XML, ECMA-376 Part 1, 18.17.4 (Ecma International; from memory): serials 1, 59 and 61 of the 1900
# system, serial 0 of the 1904 system, and the 1,462 days between the two.
def test_serial_numbers_follow_the_two_date_systems_of_a_workbook():
    assert from_serial(1, "1900") == date(1900, 1, 1)
    assert from_serial(59, "1900") == date(1900, 2, 28)
    assert from_serial(61, "1900") == date(1900, 3, 1)
    assert from_serial(0, "1904") == date(1904, 1, 1)
    assert from_serial(45363, "1900") == THE_DAY
    assert from_serial(45363, "1904") == date(2028, 3, 13)
    assert from_serial(45363 - 1462, "1904") == THE_DAY
    assert from_serial(45363.999, "1900") == THE_DAY


@pytest.mark.parametrize(
    ("number", "system"), [(60, "1900"), (0, "1900"), (-1, "1904"), (10**9, "1900"), (1e300, "1904")]
)
def test_a_serial_number_without_a_date_is_not_a_date(number, system):
    with pytest.raises(Unread, match=r"^is not a date$"):
        from_serial(number, system)


def test_a_serial_number_is_read_only_where_its_system_is_given():
    assert _ends("45363", date_system="1900") == _ends(45363, date_system="1900") == (THE_DAY, THE_DAY)
    assert _ends(45363.6, date_system="1904") == (date(2028, 3, 13), date(2028, 3, 13))
    assert "serial number" in read_date("45363").problem
    with pytest.raises(ChoiceError, match="1900, 1904"):
        read_date("45363", date_system="1905")


def test_a_date_cell_counts_as_precisely_as_it_is_shown():
    cell = datetime(2024, 3, 1, 9, 30)
    assert _ends(cell, shown_as="mmm-yy") == _ends(45352, date_system="1900", shown_as="mmm-yy") == MARCH
    assert _ends(cell, shown_as="yyyy") == (date(2024, 1, 1), date(2024, 12, 31))
    assert _ends(cell, shown_as="dd/mm/yyyy") == _ends(cell) == (date(2024, 3, 1), date(2024, 3, 1))
    assert read_date(cell, shown_as="d-mmm").problem == "is shown without its year"
    assert read_date(cell, shown_as="h:mm").problem == "is a time of day, not a date"
    assert read_date(time(9, 30)).problem == "is not a date"


@pytest.mark.parametrize(
    ("number_format", "precision"),
    [
        ("yyyy-mm-dd hh:mm:ss", "day"),
        ("[$-409]mmm-yy;@", "month"),
        ("dddd, mmmm yyyy", "month"),
        ('d" de "mmmm yyyy', "day"),
        ("General", "day"),
        (None, "day"),
        ("MM/YYYY", "month"),
        ("m/d/yy h:mm", "day"),
        ('"day" mmm yyyy', "month"),
    ],
)
def test_a_number_format_says_how_much_of_a_date_it_shows(number_format, precision):
    assert precision_shown(number_format) == precision


def test_a_quarter_is_known_where_the_whole_range_lies_in_it():
    assert [quarter(date(2026, month, 1)) for month in (1, 3, 4, 9, 12)] == [
        "2026Q1",
        "2026Q1",
        "2026Q2",
        "2026Q3",
        "2026Q4",
    ]
    assert quarter(read_date("Mar-24")) == "2024Q1"
    assert quarter(read_date("2024")) == quarter(read_date("")) == ""


def test_sequential_periods_leave_no_gap_so_that_they_still_measure_time():
    key = sequential_periods(["2026Q1", "2025Q3", "2026Q1"])
    assert key == {"2025Q3": "P01", "2025Q4": "P02", "2026Q1": "P03"}
    assert sequential_periods([]) == {}
    with pytest.raises(ChoiceError):
        sequential_periods(["March"])


_SHAPES = (
    "%Y-%m-%d",
    "%d.%m.%Y",
    "%d %B %Y",
    "%B %d, %Y",
    "%d-%b-%y",
    "%Y%m%d",
    "%G-W%V-%u",
    "%a %d %b %Y",
    "%d/%m/%Y %H:%M",
)


@given(day=DATES, shape=st.sampled_from(_SHAPES))
@settings(deadline=None, derandomize=True, max_examples=400)
def test_every_shape_of_a_date_reads_back_as_that_date(day, shape):
    moment = datetime(day.year, day.month, day.day, 23, 59)
    assert _ends(moment.strftime(shape), day_first=True) == (day, day)


@given(day=DATES)
@settings(deadline=None, derandomize=True, max_examples=200)
def test_serial_numbers_and_spans_agree_with_the_calendar(day):
    serial = (day - date(1899, 12, 30)).days
    assert from_serial(serial, "1900") == from_serial(serial - 1462, "1904") == day
    year, week, _ = day.isocalendar()
    first, last = _ends(f"{year}-W{week:02d}")
    assert first <= day <= last and (last - first).days == 6


@given(
    text=st.one_of(
        st.text(max_size=40),
        st.lists(
            st.sampled_from(
                [
                    "12",
                    "3",
                    "0",
                    "00",
                    "2024",
                    "24",
                    "31",
                    "Mar",
                    "mars",
                    "/",
                    "-",
                    ".",
                    " ",
                    "early",
                    "q",
                    "w",
                    "T",
                    ":",
                    "th",
                    "Tue",
                    "²",
                ]
            ),
            max_size=8,
        ).map("".join),
    ),
    day_first=st.sampled_from([None, True, False]),
    date_system=st.sampled_from([None, "1900", "1904"]),
    shown_as=st.one_of(st.none(), st.text(alphabet='dmyhs"[]/\\;- ', max_size=10)),
)
@settings(deadline=None, derandomize=True, max_examples=1200)
def test_any_text_gives_a_range_and_nothing_it_says_shows_a_date(text, day_first, date_system, shown_as):
    found = read_date(text, day_first=day_first, date_system=date_system, shown_as=shown_as)
    assert found.known != bool(found.problem) or found.rule in ("blank", "text kept")
    assert not found.known or found.first <= found.last
    assert "datetime" not in repr(found)
    assert not re.search(r"(19|20)[0-9]{2}", repr(found) + found.problem)
    assert not any(map(str.isdigit, text)) or len(text) < 6 or text not in repr(found)


def test_long_text_is_refused_and_not_searched():
    assert read_date("1" * 100_000).problem == read_date(("12 " * 50_000) + "x").problem == "is too long to be a date"
