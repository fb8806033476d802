import numpy as np
import pytest

from builders.courses import Course, registry_of
from builders.stented import graded, with_events
from necrostats.definitions.grades import AGREE
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures import adverse_event_rates
from necrostats.measures.adverse_event_choosing import ANY, chosen_events, known_types, of_type, whole_histories


def _chosen(registry, grade_from=None, attribution_from=None):
    everywhere = np.ones(len(registry.adverse_events), dtype=bool)
    return chosen_events(registry, AGREE, grade_from, attribution_from, everywhere)


def test_serious_is_the_grade_from_which_the_scale_calls_it_so():
    registry = graded("II", "IIIa", "V", None)
    assert _chosen(registry, "serious").counts.tolist() == _chosen(registry, "IIIa").counts.tolist()
    assert _chosen(registry, "serious").counts.tolist() == [False, True, True, False]
    assert _chosen(registry, "serious").ungraded == 1


def test_an_attribution_keeps_the_firmer_ones_and_counts_those_without():
    registry = with_events(graded("I", "I", "I"), attribution=["definite", "unlikely", None])
    chosen = _chosen(registry, attribution_from="possible")
    assert chosen.counts.tolist() == [True, False, False]
    assert chosen.unattributed == 1
    assert chosen.words == ", attribution possible or firmer"
    with pytest.raises(ChoiceError, match="definite, probable, possible, unlikely"):
        _chosen(registry, attribution_from="certain")


def test_the_choice_stands_in_the_title_and_in_what_was_left_out():
    registry = with_events(graded("I", "I"), attribution=["definite", None])
    result = adverse_event_rates(registry, attribution_from="probable")
    assert "attribution probable or firmer" in result.title
    assert result.population.left_out["events of which the attribution is not recorded"] == 1


def test_types_may_be_one_several_or_none():
    assert known_types(None, (ANY,)) == (ANY,)
    assert known_types("bleeding", (ANY,)) == ("bleeding",)
    assert known_types(["sepsis", "bleeding", "sepsis"], (ANY,)) == ("sepsis", "bleeding")
    with pytest.raises(ChoiceError, match='Did you mean "bleeding"'):
        known_types(["bleding"], (ANY,))


def test_of_type_marks_the_events_of_a_type():
    registry = registry_of(Course(events=[(1, "bleeding"), (2, "sepsis")]))
    assert of_type(registry, "sepsis").tolist() == [False, True]
    assert of_type(registry, ANY).all()


def test_a_narrowed_registry_is_refused_by_what_needs_whole_histories():
    whole_histories(registry_of(Course()), "This")
    with pytest.raises(DesignError, match="narrowed to 2024Q1"):
        whole_histories(registry_of(Course()).during("2024Q1"), "This")
