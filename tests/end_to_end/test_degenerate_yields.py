"""Registries in which instruments can hardly be compared: each gives every table, figure and a plain sentence."""

from __future__ import annotations

from dataclasses import replace

import pytest

from builders.debridements import registry_of, series
from necrostats import chart, lead, table, words
from necrostats.measures import (
    adverse_events_by_class,
    attribution_sensitivity,
    compare_yield,
    precision_plan,
    yield_answer,
    yield_overlap,
)

CANNOT = "These data cannot tell which class of instrument removes more. "
SESSIONS = series(12)


def _each(**changes):
    return [replace(each, **changes) for each in SESSIONS]


CASES = {
    "one class only": (_each(uses=["snare"]), CANNOT + "Only one class of instrument was used, snare"),
    "two classes never in the same kind of session": (
        [replace(each, texture="soft" if "snare" in each.uses else "tough") for each in SESSIONS],
        "With powered debrider the yield of a session was",
    ),
    "one patient with half of all sessions": (
        [replace(each, patient="P0", day=i + 1) if i % 4 < 2 else each for i, each in enumerate(SESSIONS)],
        "With powered debrider the yield of a session was",
    ),
    "all amounts words": (
        _each(low=None, words="moderate"),
        CANNOT + "No yield is written as a number (all 36 are words)",
    ),
    "all more than 500": (_each(low=500.0, exact=False), CANNOT + "No class has enough yields in ml"),
    "a class with three uses": (
        [replace(each, uses=["net"] if i < 3 else ["snare"]) for i, each in enumerate(SESSIONS)],
        CANNOT + "Only snare has enough yields in ml",
    ),
    "no amounts at all": (_each(low=None), CANNOT + "No yield is written as a number (none is written)"),
    "no instruments recorded": (_each(uses=[]), CANNOT + "No class of instrument is recorded"),
    "no necrosectomies": (_each(about={"session_type": "inspection"}), CANNOT + "There are no necrosectomies"),
    "no sessions": ([], CANNOT + "There are no necrosectomies"),
    "every session shared": (_each(uses=["snare", "net"]), CANNOT + "No class has enough yields in ml"),
    "all amounts alike": (_each(low=100.0), "With powered debrider the yield of a session was 1.00 times"),
    "no yield ever": (_each(low=0.0), CANNOT + "No class has enough yields in ml"),
    "one patient only": ([replace(each, patient="P0", day=i + 1) for i, each in enumerate(SESSIONS)], CANNOT),
    "all of it cleared": (_each(unit="percent_cleared", low=100.0), CANNOT + "No class has enough yields in % cleared"),
}


@pytest.mark.parametrize("name", CASES)
@pytest.mark.slow
def test_everything_can_be_shown_and_the_answer_is_a_plain_sentence(name):
    sessions, opening = CASES[name]
    registry = registry_of(*sessions)
    compared, rules = compare_yield(registry), attribution_sensitivity(registry)
    plan, overlap = precision_plan(registry), yield_overlap(registry)
    answer = yield_answer(compared, rules, plan)
    text = str(lead(answer, sentences=9))
    assert text.startswith(opening) and "nan" not in text and text.endswith("better for patients.")
    drawn = (compared, rules, overlap, compare_yield(registry, per="minute"), adverse_events_by_class(registry))
    for result in (*drawn, plan, answer):
        assert table(result).caption and "nan" not in words(result).split()
    for result in drawn:
        assert chart(result).alt
    assert chart(compared, of="amounts").alt and table(compared, of="record").caption
