import pytest

from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.errors import ChoiceError


def test_the_default_says_all_of_itself():
    assert DOCUMENTED_RESOLUTION.sentence() == (
        "Resolved (documented resolution, 30 mm): longest axis of every known collection at most 30 mm on a scan and "
        "symptom-free at a review within 30 days of it, with no percutaneous drain and no surgery before it, within "
        "180 days of the index drainage."
    )


def test_a_drain_that_is_an_adjunct_is_no_competing_end():
    definition = ResolutionDefinition(name="x", reference="invented", percutaneous_drain="adjunct", symptom_free=False)
    assert definition.causes == ("resolved", "death", "surgery")
    assert "percutaneous drain" not in definition.sentence()
    assert "symptom-free" not in definition.sentence()


def test_a_role_off_the_list_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match="failure, adjunct"):
        ResolutionDefinition(name="x", reference="invented", percutaneous_drain="success")
