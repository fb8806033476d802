import pytest

from necrostats.definitions.grades import AGREE, CLAVIEN_DINDO, SCALES, scale_named
from necrostats.errors import ChoiceError
from necrostats.registry.codebook import ADVERSE_EVENTS


@pytest.mark.parametrize("scale", SCALES.values(), ids=list(SCALES))
def test_every_grade_of_the_codebook_has_a_meaning_in_the_same_order(scale):
    assert scale.grades == ADVERSE_EVENTS.column(scale.column).codes


def test_the_same_label_means_different_things_on_two_scales():
    """AGREE parts surgery from endoscopy, Clavien–Dindo general anaesthesia from none (Ann Surg 2004;240:205)."""
    assert "surgical" in AGREE.meanings["IIIb"]
    assert "anaesthesia" in CLAVIEN_DINDO.meanings["IIIb"]
    assert AGREE.meanings["IIIa"] != CLAVIEN_DINDO.meanings["IIIa"]


def test_at_least_a_grade_is_that_grade_and_the_graver_ones():
    assert AGREE.at_least("IVa") == ("IVa", "IVb", "V")


def test_a_grade_of_another_scale_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match="IIIa"):
        AGREE.at_least("III")


def test_a_scale_goes_by_its_name():
    assert scale_named("AGREE") is AGREE
    with pytest.raises(ChoiceError, match='Did you mean "AGREE"'):
        scale_named("AGREED")
