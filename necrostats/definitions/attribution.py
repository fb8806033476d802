"""Whose a yield is when several classes of instrument were used in one session: five rules, as data."""

from __future__ import annotations

from dataclasses import dataclass

from necrostats.errors import unknown_choice

WHOLE, PRIMARY_ONLY, EQUAL, MEASURED, ANY_USE = "whole", "primary", "equal", "measured", "any use"


@dataclass(frozen=True, kw_only=True)
class AttributionRule:
    """How a session's yield is credited to the classes used in it.

    `credit` is "whole" (only sessions with one class count), "primary" (all of it to the declared primary
    instrument), "equal" (each class the same part), "measured" (parts by the minutes, else the passes, recorded for
    each class) or "any use" (nothing is divided: a model with one indicator a class). `sentence` says so in words.
    """

    name: str
    credit: str
    sentence: str

    @property
    def divides(self) -> bool:
        """Whether one session gives a row to each of its classes."""
        return self.credit in (EQUAL, MEASURED)


ONE_CLASS = AttributionRule(
    name="one-class sessions only",
    credit=WHOLE,
    sentence="only sessions in which one class alone was used count; its yield is all of the session's",
)
PRIMARY = AttributionRule(
    name="declared primary",
    credit=PRIMARY_ONLY,
    sentence="a shared session's yield goes to the instrument declared primary; without one it does not count",
)
EQUAL_SHARES = AttributionRule(
    name="equal shares",
    credit=EQUAL,
    sentence="a shared session's yield is divided equally among its classes",
)
MEASURED_SHARES = AttributionRule(
    name="shares by minutes or passes",
    credit=MEASURED,
    sentence="a shared session's yield is divided by the minutes of each class, or by its passes where minutes are "
    "not recorded for all of them; without either it does not count",
)
ADDITIVE = AttributionRule(
    name="additive model",
    credit=ANY_USE,
    sentence="every session counts once, undivided, in a model with one indicator for each class used",
)
RULES = (ONE_CLASS, PRIMARY, EQUAL_SHARES, MEASURED_SHARES, ADDITIVE)


def rule_named(rule: AttributionRule | str) -> AttributionRule:
    """A rule as it is, or by its name; ChoiceError for a name that is not on the list."""
    if isinstance(rule, AttributionRule):
        return rule
    found = {each.name: each for each in RULES}
    if rule not in found:
        raise unknown_choice("attribution rule", rule, found)
    return found[rule]
