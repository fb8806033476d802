from dataclasses import replace

from builders.debridements import registry_of, series
from necrostats import lead
from necrostats.measures import attribution_sensitivity, compare_yield, precision_plan, yield_answer

PAIR = {"reference": "snare", "primary": "powered_debrider"}


def _answer(*sessions):
    registry = registry_of(*sessions)
    return yield_answer(*(each(registry, **PAIR) for each in (compare_yield, attribution_sensitivity, precision_plan)))


def test_the_answer_holds_the_primary_contrast_alone_and_what_was_said_of_it():
    answer = _answer(*series(20))
    assert answer.frame["primary"].all() and answer.title == "Which removes more: powered debrider or snare?"
    text = str(lead(answer, sentences=9))
    for part in (
        "whichever way shared sessions are credited",
        "With 80 % power",
        "chosen for the case in hand and not assigned",
    ):
        assert part in text


def test_where_the_interval_holds_no_difference_the_answer_is_that_the_data_do_not_tell():
    assert "these data do not tell which of the two removes more" in str(
        lead(_answer(*series(12, ratio=1.0)), sentences=9)
    )


def test_a_crude_ratio_alone_is_no_answer():
    apart = [replace(each, texture="soft" if "snare" in each.uses else "tough") for each in series(20)]
    text = str(lead(_answer(*apart), sentences=9))
    assert "it does not tell which removes more" in text and "never used at the same texture" in text


def test_nothing_to_compare_is_said_with_its_reason():
    text = str(lead(_answer(*[replace(each, uses=["snare"]) for each in series(10)]), sentences=9))
    assert text.startswith("These data cannot tell which class of instrument removes more. Only one class")
