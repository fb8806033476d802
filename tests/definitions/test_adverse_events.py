from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from builders.courses import Course, registry_of
from builders.stented import graded, with_events
from necrostats.definitions.adverse_events import (
    AGREE,
    ANY,
    CLAVIEN_DINDO,
    DURING,
    INDEX_WEIGHTS,
    ONE_DAY,
    SCALES,
    THIRTY_DAYS,
    UNTIL_STENT_OUT,
    chosen_events,
    complication_index_of_patients,
    comprehensive_complication_index,
    known_types,
    of_type,
    scale_named,
    window_named,
)
from necrostats.errors import ChoiceError
from necrostats.measures import adverse_event_rates
from necrostats.registry.codebook import ADVERSE_EVENTS
from necrostats.registry.tables import registry_from


def test_every_window_says_itself():
    assert THIRTY_DAYS.sentence() == "during a session or up to 30 days after it"
    assert ONE_DAY.sentence() == "during a session or up to 1 day after it"
    assert DURING.sentence() == "during a session"
    assert UNTIL_STENT_OUT.sentence() == "from a session until the last stent is out"


def test_a_window_goes_by_its_name():
    assert window_named("30 days") is THIRTY_DAYS
    assert window_named(DURING) is DURING
    with pytest.raises(ChoiceError, match='Did you mean "30 days"'):
        window_named("30 day")


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


GRADES = (*INDEX_WEIGHTS, "V")


@pytest.mark.parametrize(
    ("grade", "printed"),
    [("I", "8.7"), ("II", "20.9"), ("IIIa", "26.2"), ("IIIb", "33.7"), ("IVa", "42.4"), ("IVb", "46.2")],
)
def test_a_single_complication_has_the_published_index(grade, printed):
    """Slankamenac K and others, Ann Surg 2013;258:1-7: single complications, from memory."""
    assert f"{comprehensive_complication_index([grade]):.1f}" == printed


def test_two_complications_add_up_under_the_root():
    """I and IIIa: 27.6, same source, from memory."""
    assert f"{comprehensive_complication_index(['I', 'IIIa']):.1f}" == "27.6"


def test_none_is_zero_and_death_is_100_whatever_else_happened():
    assert comprehensive_complication_index([]) == 0
    assert comprehensive_complication_index(["V"]) == comprehensive_complication_index(["I", "V", "IVb"]) == 100


def test_many_complications_stop_at_100():
    assert comprehensive_complication_index(["IVb"] * 5) == 100
    assert comprehensive_complication_index(["IVb"] * 4) < 100


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.lists(st.sampled_from(GRADES), max_size=12), st.sampled_from(GRADES))
def test_one_more_complication_never_lowers_it_and_order_does_not_matter(grades, more):
    here = comprehensive_complication_index(grades)
    assert 0 <= here <= comprehensive_complication_index([*grades, more]) <= 100
    assert here == comprehensive_complication_index(grades[::-1])


def test_a_grade_off_the_list_is_refused():
    with pytest.raises(ChoiceError, match="IIIa"):
        comprehensive_complication_index(["III"])


def _graded(*patients):
    """Patients with these Clavien–Dindo grades, None for an event that was not graded."""
    tables = dict(registry_of(*(Course(events=[(3, "bleeding")] * len(grades)) for grades in patients)).tables)
    events = tables["adverse_events"].copy()
    events["clavien_grade"] = [grade for grades in patients for grade in grades]
    return registry_from({name: pd.DataFrame(table) for name, table in {**tables, "adverse_events": events}.items()})


def test_each_patient_has_the_index_of_his_own_events():
    found = complication_index_of_patients(_graded(["I", "IIIa"], [], ["V", "I"]))
    assert found.round(1).tolist() == [27.6, 0, 100]


def test_an_ungraded_event_leaves_the_index_unknown_unless_the_patient_died_of_another():
    found = complication_index_of_patients(_graded(["I", None], [None, "V"], ["II"]))
    assert np.isnan(found[0]) and found[1] == 100 and found[2] == pytest.approx(20.9, abs=0.05)


def test_nobody_has_no_index():
    assert complication_index_of_patients(_graded([]).select([False])).size == 0


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


@pytest.mark.parametrize(
    ("scale", "mild", "serious"),
    [("AGREE", "II", "IIIa"), ("ASGE", "mild", "moderate"), ("Clavien–Dindo", "II", "IIIa")],
)
def test_serious_begins_with_an_intervention_and_not_before(scale, mild, serious):
    """Common practice, no source: what needed a further procedure or intervention is serious."""
    grades = SCALES[scale].at_least(SCALES[scale].serious_from)
    assert serious == grades[0] and mild not in grades
