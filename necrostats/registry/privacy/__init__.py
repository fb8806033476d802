"""The privacy check: looks for identifiers before anything of an export is read into a table."""

from __future__ import annotations

from necrostats.registry.privacy.dates import AGE_OVER_89, AGES_OVER_89
from necrostats.registry.privacy.headings import may_head_study_codes
from necrostats.registry.privacy.ids import NOT_CODES, KnownIds
from necrostats.registry.privacy.names import only_looks_so
from necrostats.registry.privacy.outside import Names
from necrostats.registry.privacy.searching import find_identifiers, not_released, withheld_heading
from necrostats.registry.privacy.suspicions import (
    KINDS,
    STOPS,
    UNTIL_ACCEPTED,
    Sheet,
    Suspicion,
    accepting,
    refusal_text,
    release_of,
)

__all__ = [
    "AGES_OVER_89",
    "AGE_OVER_89",
    "KINDS",
    "NOT_CODES",
    "STOPS",
    "UNTIL_ACCEPTED",
    "KnownIds",
    "Names",
    "Sheet",
    "Suspicion",
    "accepting",
    "find_identifiers",
    "may_head_study_codes",
    "not_released",
    "only_looks_so",
    "refusal_text",
    "release_of",
    "withheld_heading",
]
