"""The privacy check: looks for identifiers before anything of an export is read into a table."""

from __future__ import annotations

from necrostats.registry.privacy.dates import AGE_OVER_89
from necrostats.registry.privacy.headings import may_head_study_codes
from necrostats.registry.privacy.ids import NOT_CODES, KnownIds
from necrostats.registry.privacy.names import only_looks_so
from necrostats.registry.privacy.searching import find_identifiers
from necrostats.registry.privacy.suspicions import KINDS, STOPS, UNTIL_ACCEPTED, Sheet, Suspicion, refusal_text

__all__ = [
    "AGE_OVER_89",
    "KINDS",
    "NOT_CODES",
    "STOPS",
    "UNTIL_ACCEPTED",
    "KnownIds",
    "Sheet",
    "Suspicion",
    "find_identifiers",
    "may_head_study_codes",
    "only_looks_so",
    "refusal_text",
]
