import re

import pytest

from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION
from necrostats.definitions.resolution_catalogue import RESOLUTION_CATALOGUE


def test_the_default_comes_first_and_every_name_is_its_own():
    names = [each.name for each in RESOLUTION_CATALOGUE]
    assert RESOLUTION_CATALOGUE[0] is DOCUMENTED_RESOLUTION
    assert len(set(names)) == len(names)


def test_no_two_entries_say_the_same():
    without_name = {re.sub(r"\(.*?\):", "", each.sentence()) for each in RESOLUTION_CATALOGUE}
    assert len(without_name) == len(RESOLUTION_CATALOGUE)


@pytest.mark.parametrize("entry", RESOLUTION_CATALOGUE, ids=lambda each: each.name)
def test_every_entry_says_where_it_comes_from(entry):
    """Author (or a doi), journal, year, volume and page where a paper is named; read or from memory in any case."""
    assert re.search("from memory|common practice|was read", entry.provenance)
    if entry.reference:
        where = r".+ (19|20)\d\d;\d+:\d+"
        assert re.fullmatch(rf"[A-Z][\w-]+ [A-Z]{{1,2}} et al\., {where}|{where}, doi 10\.\S+", entry.reference)


def test_every_switch_is_used_by_some_entry():
    assert {each.percutaneous_drain for each in RESOLUTION_CATALOGUE} == {"failure", "adjunct"}
    assert {each.symptom_free for each in RESOLUTION_CATALOGUE} == {True, False}
    assert {each.size_mm for each in RESOLUTION_CATALOGUE} >= {20.0, 30.0, 50.0, None}
    assert {each.share_of_baseline for each in RESOLUTION_CATALOGUE} == {None, 0.5}
    assert len({each.horizon_days for each in RESOLUTION_CATALOGUE}) == 2
