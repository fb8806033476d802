"""What the privacy check is given and what it says: sheets as written, and suspicions that hold a place, no value."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np

KINDS: Mapping[str, str] = MappingProxyType(
    {
        "name": "a name",
        "place": "a place smaller than a state",
        "date": "a date, a birth or an age over 89",
        "telephone": "a telephone number",
        "fax": "a fax number",
        "email": "an e-mail address",
        "national_number": "a national or social security number",
        "record_number": "a medical record number",
        "health_plan": "a health plan number",
        "account": "an account number",
        "licence": "a certificate or licence number",
        "vehicle": "a vehicle",
        "device": "the serial or lot number of a device",
        "url": "a web address",
        "ip_address": "a computer's address",
        "biometric": "a biometric identifier",
        "photograph": "a photograph of a person",
        "other_code": "another number or code that belongs to one person",
    }
)
"""The eighteen kinds of 45 CFR 164.514(b)(2)(i), (A) to (R) in order, in plain words."""

STOPS = "stops"
UNTIL_ACCEPTED = "stops until accepted"


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Sheet:
    """One sheet or csv file as written, header first.

    `columns` maps each heading to its N cells as text: a list, an object array, or anything with `texts` (U,),
    each text once, and `which` (N,), the text of each row. `rows` (N,) are the row numbers that the spreadsheet
    shows; left out, they run from 2.
    """

    file: str
    name: str
    header: Sequence[str]
    columns: Mapping[str, Any]
    hidden: bool = False
    rows: Sequence[int] | np.ndarray | None = None

    def __repr__(self) -> str:
        return f"Sheet: {len(self.columns)} columns, text withheld"


@dataclass(frozen=True, kw_only=True)
class Clue:
    """A reason to suspect a text: what kind of identifier, in which words, and whether it is certain enough to be hard.

    A hard clue stops a cell even in a column that a person has accepted.
    """

    kind: str
    rule: str
    hard: bool = False

    @property
    def severity(self) -> str:
        """STOPS for a hard clue, else UNTIL_ACCEPTED."""
        return STOPS if self.hard else UNTIL_ACCEPTED


@dataclass(frozen=True, kw_only=True)
class Suspicion:
    """A place that may hold an identifier; the value itself is withheld.

    `row` is the spreadsheet row, or None for a whole column or a text outside the cells (then `where` says which
    text). `severity` is STOPS, or UNTIL_ACCEPTED: refused as well, until a person accepts the column.
    """

    kind: str
    file: str
    sheet: str
    row: int | None
    column: str
    rule: str
    severity: str
    where: str = ""
