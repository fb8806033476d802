from __future__ import annotations

from functools import singledispatch

from necrostats.present.kinds import not_presentable


def test_the_answer_names_what_was_given_and_what_the_verb_knows():
    verb = singledispatch(lambda result: None)
    verb.register(int, lambda result: None)
    verb.register(bool, lambda result: None)
    assert str(not_presentable(verb, "x")) == '"str" is not a known kind of result. Choose from: bool, int.'
