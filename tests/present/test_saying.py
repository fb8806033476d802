from __future__ import annotations

import pytest

from builders.results import rates
from necrostats.errors import ChoiceError
from necrostats.present.saying import about, ended, findings, listed, not_presentable, plural


@pytest.mark.parametrize(
    ("text", "said"), [("so it is", "so it is."), (" is it? ", "is it?"), ("It is.", "It is."), ("", ""), ("  ", "")]
)
def test_a_text_ends_as_a_sentence_once(text, said):
    assert ended(text) == said


@pytest.mark.parametrize(
    ("items", "said"), [([], ""), (["a"], "a"), (["a", "b"], "a and b"), (iter("abc"), "a, b and c")]
)
def test_items_are_listed_with_and_before_the_last(items, said):
    assert listed(items) == said


def test_a_group_stands_before_its_sentence_which_goes_on_in_small_letters():
    assert about("cap_suction", True, "Within 90 days 5 resolved.") == "Cap suction: within 90 days 5 resolved."
    assert about("net", True, "AGREE grades were given.") == "Net: AGREE grades were given."
    assert about("all", False, "Within 90 days 5 resolved.") == "Within 90 days 5 resolved."


def test_a_group_called_none_does_not_read_as_if_nobody_was_meant():
    assert about("none", True, "Within 90 days 5 resolved.") == 'Group "none": within 90 days 5 resolved.'


@pytest.mark.parametrize(
    ("n", "noun", "said"),
    [(1, "patients", "patient"), (0, "patients", "patients"), (1.5, "days", "days"), (1, "%", "%")],
)
def test_a_noun_is_in_the_singular_for_exactly_one(n, noun, said):
    assert plural(n, noun) == said


def test_a_kind_of_result_has_its_findings_and_anything_else_is_refused():
    assert findings(rates())[0].startswith("11 of 235 patients")
    with pytest.raises(ChoiceError, match="no result"):
        findings("not a result")


def test_the_answer_names_what_was_given_and_how_to_get_a_result():
    asked = "Ask a measure first: result = time_to_resolution(registry)."
    assert str(not_presentable("x")) == f'This is no result but the text "x". {asked}'
    assert str(not_presentable(None)) == f"This is no result but nothing. {asked}"
    assert str(not_presentable(rates())).endswith("is a list and has no figure. Show it with table(result).")
