import pytest

from necrostats.definitions.attribution import ONE_CLASS, RULES, rule_named
from necrostats.errors import ChoiceError


def test_there_are_five_rules_and_the_first_is_one_class_sessions():
    assert len({rule.name for rule in RULES}) == len({rule.credit for rule in RULES}) == 5
    assert RULES[0] is ONE_CLASS


def test_a_rule_is_found_by_its_name_and_another_name_is_answered_with_the_list():
    assert all(rule_named(rule.name) is rule and rule_named(rule) is rule for rule in RULES)
    with pytest.raises(ChoiceError, match=r'Did you mean "equal shares".*additive model'):
        rule_named("equal share")


def test_only_rules_of_shares_divide_a_session():
    assert [rule.name for rule in RULES if rule.divides] == ["equal shares", "shares by minutes or passes"]
