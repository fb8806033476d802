"""Ages over 89, in figures and in words; 90 to 119 with a unit of measure are none."""

from __future__ import annotations

import re

_OLD = r"(?:9\d|1[01]\d)"
_CERTAIN = re.compile(
    rf"\b{_OLD}[ \-]?(?:y/?-?o|y\.o\.?|y-o-\w|(?:years?|yrs?)[ \-]?old|(?:years|yrs) of age|jahrige[rns]?|jahrig|"
    r"jahre alt|ans|anos|anni|jaar|evos|vuotias|arig)\b"
    rf"|\b(?:aged?|alter|edad|leeftijd|wiek|idade|alder|ika|yas|eletkor|aetat(?:is)?|"
    rf"turn(?:ed|s|ing)|alt)[ :=.]{{1,3}}{_OLD}"
    r"\b(?! ?(?:days|weeks|months|ml|cc|mm|%))"
    r"|\b(?:nonagenarian|centenarian|nonagenaire|centenaire|novantenne|centenne|nonagenari[ao]|in (?:his|her|"
    r"their) (?:early |mid[ \-]?|late )?(?:nineties|90'?s))\b"
    r"|\b(?:ninet(?:y|ies)|neunzig|\w{3,8}undneunzig|quatre[ -]vingt[ -]dix|novanta|noventa)(?:[ -]\w+)?"
    r"[ -](?:years?|yrs?|y/?o|ans|jahre?|anni|anos|jahrig\w*)\b",
    re.IGNORECASE,
)
_PROBABLE = re.compile(
    rf"(?<![\w.,/]){_OLD} ?(?:yrs?|years|y)\b(?! ?(?:ago|follow|since))"
    rf"|(?<![\w.,/°]){_OLD}(?-i:[MFmf])\b"
    rf"|(?<![\w.,/])(?:(?-i:[MF]) |[mfw]/|w (?=\d+ ?j)|[♀♂] ?){_OLD}(?: ?j\b\.?)?(?![\w%/]|[.,]\d|"
    r" ?(?:ml|cc|mm|cm|%|f\b|x))"
    rf"|(?<![\w.,/]){_OLD} ?(?:♀|♂|(?-i:[MF])\b)"
    rf"|(?<![\w.,/]){_OLD}(?-i:a|j)\b"
    r"|\b(?:ninety|neunzig|\w{3,8}undneunzig|quatre[ -]vingt[ -]dix|novanta|noventa)(?:[ -](?:one|two|three|four|"
    r"five|six|seven|"
    r"eight|nine))?\b(?! ?-?(?:ml|cc|min|deg|per|%|sec|mm|cm|g\b|gram|day|hour|h\b|tage|grad|minut|proz|jours|dias|"
    r"giorni))",
    re.IGNORECASE,
)
_HOT = re.compile(r"temp|fever|febrile|pyrexi|°|\bt\b", re.IGNORECASE)


def is_age(text: str) -> bool:
    """Whether a folded text says an age over 89."""
    return _CERTAIN.search(text) is not None


def may_be_age(text: str) -> bool:
    """Whether a number over 89 stands beside a sex or a sign of years, where it is seldom anything but an age."""
    return _PROBABLE.search(text) is not None and not _HOT.search(text)
