import pytest

from necrostats.registry.codebook import TABLES
from necrostats.registry.text import folded
from necrostats.registry.words import NO_EVENT, built_in, known_words

CODED = [(table, column) for table in TABLES.values() for column in table.columns if column.kind == "code"]


@pytest.mark.parametrize(("table", "column"), CODED, ids=lambda each: each.name)
def test_every_code_is_its_own_word_with_and_without_underscores(table, column):
    words = known_words(column.name, column.codes, {})
    for code in column.codes:
        assert words[folded(code)] == words[folded(code.replace("_", " "))] == code


@pytest.mark.parametrize(("table", "column"), CODED, ids=lambda each: each.name)
def test_no_word_stands_for_a_code_that_does_not_exist(table, column):
    assert set(known_words(column.name, column.codes, {}).values()) <= set(column.codes)


def test_no_word_for_nothing_is_a_word_for_an_event():
    assert not NO_EVENT & set(built_in("event_type"))


def test_yes_and_no_are_known_in_the_forms_of_the_tidy_registry():
    words = known_words("planned", ("yes", "no"), {"ja": "yes"})
    assert (words["y"], words["1"], words["false"], words["ja"]) == ("yes", "yes", "no", "yes")
