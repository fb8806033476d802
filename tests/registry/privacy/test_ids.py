from __future__ import annotations

import pytest

from necrostats.registry.privacy import Sheet, find_identifiers
from necrostats.registry.privacy.ids import are_study_codes, clues_in_ids


def test_running_numbers_are_no_clue():
    assert clues_in_ids([f"P{number:04d}" for number in range(1, 200)]) == ()


@pytest.mark.parametrize("digits", [4_301, 9_000, 32_000])
@pytest.mark.parametrize("before", ["", "P"])
def test_a_number_of_thousands_of_digits_is_refused_and_raises_nothing(digits, before):
    ids = [before + "9" * digits, before + "1" * digits]
    assert [clue.kind for clue in clues_in_ids(ids)] == ["record_number"]
    assert not are_study_codes(ids)
    for heading in ("patient_id", "Study no", "date", "remarks"):
        sheet = Sheet(file="a.csv", name="", header=[heading], columns={heading: [*ids, "7"]})
        assert find_identifiers([sheet]), heading


def test_one_very_long_number_among_many_running_ones_does_not_hide():
    ids = [*(f"P{number:04d}" for number in range(1, 50)), "P" + "8" * 5_000]
    assert find_identifiers([Sheet(file="a.csv", name="", header=["patient_id"], columns={"patient_id": ids})])
