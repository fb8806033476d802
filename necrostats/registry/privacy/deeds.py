"""Words that a person's deed, an address or a signature makes a name: "Brandelow rang", "mr brandelow", "done by KLM".

Initials without such a word cannot be told from abbreviations, and pass.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

_DEED = re.compile(
    r"([A-Z][^\W\d_]{3,})(?:'s)? (?:family|list|pts|patients|notes|rang|phoned|called|asks?|asked|wants?|wanted|wishes|"
    r"wished|agrees?|agreed|aware|informed|updated|upset|requests?|requested|declines?|declined|refused|consents|"
    r"consented|attended|attending|scrubbed|assisting|assisted|says|said|thinks|would like|keen|anxious|on call|"
    r"operating|to (?:review|see|call|ring|phone|do|scope|confirm)|to be (?:phoned|called|rung|told|informed)|"
    r"informiert|verstandigt|angerufen|wunscht|aufgeklart|prevenu|appele|avvisat[oa]|informad[oa]|consenziente)\b"
)
_LOWER_DEED = re.compile(
    r"([a-z]{5,}) (?:rang|phoned|wants?|wanted|wishes|asks?|asked|says|said|keen|upset|tearful|declines?|declined|"
    r"refused|consented|agrees|agreed|requested)\b"
)
_ADDRESSED = re.compile(
    r"\bm[rs]\.? ((?!angio|cholangio|entero|uro|pancrea|spectro|contin|liver|scan|sequen)[a-z]{5,})"
)
_SPOKEN_TO = re.compile(
    r"([A-Z][^\W\d_]{3,}), ?(?:please|pls|can (?:you|u)|could you|thanks|bitte|danke|svp|merci|por favor|grazie)\b"
)
_SIGNED_BY = re.compile(
    r"\b(?i:done|performed|scoped|entered|typed|signed|inserted|placed|removed|consented|scrubbed|assisted|checked|"
    r"seen|reviewed|operated|taken|countersigned|initialled) (?i:by) ([A-Z]{2,3})(?![\w'])"
)
_INITIALS_ARE = re.compile(
    r"\b(?i:initials?|init|signed|sig|op|operator|by)\b(?: (?i:are|is))? ?[:=]? ?(?:[A-Z]\. ?){2,3}"
    r"|\b(?i:initials?)(?:\+?\w{0,20})\b[ :=]{1,3}[A-Z]{2,4}\d{0,4}\b"
)
_TEAMS = """
IR ITU ICU HPB GI GP MDT CNS SHO SPR ED AE OT PT SLT ENT HDU RMO FY ST ODP RN HCA UGI LGI SPN ANP CCU NOK DSN MTC PCP
MD PA ER OR SAU AMU MAU DCC CCO ONC URO TVN DN RD ACP CPN CTS GS GIM ICM MR CT US EUS GA LA IV NG NJ MRI RT ID UK EU
HB OP AM PM BMI TTO APC OTC DPT RTF NCD FNA FNB PEG
"""
TEAMS = frozenset(_TEAMS.split())
"""Abbreviations of teams, tests and instruments that stand where initials might."""


def names_by_deed(text: str) -> Iterator[str]:
    """Capitalised words of a folded text of which something is told that only a person does or has."""
    return (found[1] for found in _DEED.finditer(text))


def words_addressed(text: str) -> Iterator[str]:
    """Words after "mr" or "ms" in lower case, a lower-case word that begins with a deed, a word that is asked."""
    yield from (found[1] for found in _ADDRESSED.finditer(text))
    yield from (found[1] for each in (_LOWER_DEED, _SPOKEN_TO) if (found := each.match(text)))


def is_initialled(text: str) -> bool:
    """Whether a folded text says by whose initials something was done."""
    return any(found[1] not in TEAMS for found in _SIGNED_BY.finditer(text)) or bool(_INITIALS_ARE.search(text))
