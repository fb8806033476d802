from __future__ import annotations

import pytest

from builders.html import parsed, problems, table_of
from necrostats.registry.codebook import TABLES
from necrostats.report.dictionary import data_dictionary


@pytest.fixture(scope="module")
def page():
    return data_dictionary()


def test_the_page_opens_offline_and_can_be_read_aloud(page):
    assert problems(page) == []


def test_every_table_and_column_of_the_codebook_is_there_in_order_with_its_codes(page):
    tables = parsed(page).all("table")
    assert len(tables) == len(TABLES)
    for shown, table in zip(tables, TABLES.values(), strict=True):
        rows = table_of(shown)[1:]
        assert [row[0].rstrip("*") for row in rows] == list(table.names)
        assert [row[0].endswith("*") for row in rows] == [column.required for column in table.columns]
        assert [row[3] for row in rows if row[1] == "code"] == [
            ", ".join(column.codes) for column in table.columns if column.kind == "code"
        ]
        assert [row[4] for row in rows] == [" ".join(column.meaning.split()) for column in table.columns]
