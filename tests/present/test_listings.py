from __future__ import annotations

import pandas as pd
import pytest

from builders.html import parsed, table_of
from necrostats.present import table, words
from necrostats.results import Listing, Method, Note, Population


@pytest.fixture
def listing():
    table = pd.DataFrame(
        {
            "case": [1, 2],
            "event_type": pd.Categorical(["stent_occlusion", None], categories=["bleeding", "stent_occlusion"]),
            "as_written": ["per_os <b>", ""],
            "day": pd.array([5, pd.NA], dtype="Int64"),
        }
    )
    method = Method(estimand="a listing", estimator="every row", interval="", level=0.95)
    notes = (Note(code="MISSING", text="One day is not known."),)
    return Listing(title="Cases", frame=table, population=Population(patients=2), method=method, notes=notes)


def test_codes_come_in_words_text_as_written_and_blanks_blank(listing):
    rows = table_of(parsed(table(listing).html).all("table")[0])
    assert rows[1:] == [["1", "stent occlusion", "per_os <b>", "5"], ["2", "", "", ""]]


def test_only_numbers_are_set_as_numbers(listing):
    cells = parsed(table(listing).html).all("tbody")[0].all("tr")[0].all("td")
    assert [cell.attributes.get("class") for cell in cells] == [None, None, "number"]


def test_notes_stand_below_and_an_empty_listing_says_so(listing):
    assert table(listing).notes == ("One day is not known.",)
    empty = Listing(title="Cases", frame=listing.frame.iloc[:0], population=listing.population, method=listing.method)
    assert table(empty).notes == ("None.",)


def test_a_listing_is_described_by_its_length(listing):
    assert words(listing).startswith("Cases: 2 rows.")
