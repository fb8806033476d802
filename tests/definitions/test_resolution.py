from __future__ import annotations

import re

import pytest

from necrostats.definitions.resolution import (
    DOCUMENTED_RESOLUTION,
    RESOLUTION_CATALOGUE,
    ResolutionDefinition,
    definition_named,
)
from necrostats.errors import ChoiceError


def test_the_default_says_all_of_itself():
    assert DOCUMENTED_RESOLUTION.sentence() == (
        "Resolved (documented resolution, 30 mm): longest axis of every known collection at most 30 mm on a scan and "
        "free of symptoms at the review nearest to it, within 30 days and not after further treatment, with no "
        "percutaneous drain and no surgery before it, within 180 days of the index drainage."
    )


def test_a_drain_that_is_an_adjunct_is_no_competing_end():
    definition = ResolutionDefinition(name="x", reference="invented", percutaneous_drain="adjunct", symptom_free=False)
    assert definition.causes == ("resolved", "death", "surgery")
    assert "percutaneous drain" not in definition.sentence()
    assert "symptoms" not in definition.sentence()


def test_a_role_off_the_list_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match="failure, adjunct"):
        ResolutionDefinition(name="x", reference="invented", percutaneous_drain="success")


def test_a_size_relative_to_baseline_is_said_in_words():
    definition = ResolutionDefinition(name="x", size_mm=50, share_of_baseline=0.5, strictly_below=True)
    assert "below 50 mm and below 50 % of its size at baseline on a scan" in definition.sentence()
    assert ResolutionDefinition(name="x", size_mm=None, share_of_baseline=0.5).size == (
        "at most 50 % of its size at baseline"
    )


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"size_mm": None}, "asks for no size"),
        ({"size_mm": -1}, "size_mm is -1"),
        ({"share_of_baseline": 0}, "share_of_baseline is 0"),
        ({"share_of_baseline": 1.5}, "share_of_baseline is 1.5"),
        ({"horizon_days": 0}, "horizon_days is 0"),
    ],
)
def test_a_definition_that_cannot_be_is_refused_with_the_reason(changes, said):
    with pytest.raises(ChoiceError, match=said):
        ResolutionDefinition(name="x", **changes)


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


@pytest.mark.parametrize(
    ("written", "millimetres", "symptom_free", "days"),
    [
        ("25 mm", 25, True, 180),
        ("25mm, 120 days", 25, True, 120),
        ("12.5 mm, scan alone", 12.5, False, 180),
        ("0 mm, symptom-free, 365 days", 0, True, 365),
    ],
)
def test_a_definition_written_in_millimetres_and_days_is_read(written, millimetres, symptom_free, days):
    found = definition_named(written)
    assert (found.size_mm, found.symptom_free, found.horizon_days) == (millimetres, symptom_free, days)
    assert found.name == written


@pytest.mark.parametrize("written", ["", "25", "25 cm", "mm, 120 days", "25 mm, 120", "25 mm; 120 days", 25, None])
def test_any_other_text_is_answered_with_the_names_and_the_form(written):
    with pytest.raises(ChoiceError, match="millimetres and days"):
        definition_named(written)


@pytest.mark.parametrize("wrong", [{"size_mm": "30"}, {"horizon_days": 90.5}, {"review_within_days": "30"}])
def test_a_text_or_a_part_of_a_day_in_a_definition_is_refused(wrong):
    with pytest.raises(ChoiceError, match="without quotation marks"):
        ResolutionDefinition(name="wrong", **wrong)
