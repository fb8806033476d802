"""What the privacy check is given and what it says: sheets as written, and suspicions that hold a place, no value.

What the privacy check says to the person with the file: places and what to do, no value.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
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
    shows; left out, they run from 2. `vouched`: a person has written the sheet's name into a layout, or is about to, so
    that looking like a name is no reason to stop it.
    """

    file: str
    name: str
    header: Sequence[str]
    columns: Mapping[str, Any]
    hidden: bool = False
    rows: Sequence[int] | np.ndarray | None = None
    vouched: bool = False

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
    text). `severity` is STOPS, or UNTIL_ACCEPTED: refused as well, until a person accepts the column. `heading`: it is
    the heading itself that is suspect.
    """

    kind: str
    file: str
    sheet: str
    row: int | None
    column: str
    rule: str
    severity: str
    where: str = ""
    heading: bool = False

    @property
    def release(self) -> str:
        """What a person who has looked accepts to let the whole place pass: the column of a sheet, or which text."""
        return self.where or release_of(self.sheet or self.file, self.column)


def release_of(sheet: str, column: str) -> str:
    """What lets a column of a sheet pass; signs and blanks do not count, so that "DEN!Remarks" says the same."""
    return f"{sheet}: {column}"


_OF_SHELLS = frozenset('"$`\\!%^&|<>')


def accepting(release: str) -> str:
    """The text of a release in quotation marks, fit for any shell and for a layout: without the signs that mean
    something there."""
    return '"' + "".join(map(_plain, release.replace('"', "'"))) + '"'


def _plain(character: str) -> str:
    if character.isspace() or character in _OF_SHELLS or unicodedata.category(character) == "Cs":
        return " "
    return "" if unicodedata.category(character) in ("Cc", "Cf") else character


_MOST_ROWS = 12
_ADVICE = (
    "What to do:\n"
    "  remove the column, or name it under ignore (a sheet: ignore_sheets) in the layout, if the registry does not\n"
    "  need it: what was found there is then told, and nothing of it is read or written;\n"
    "  put pseudonyms in its place (study codes such as P001; operators A, B, C), and keep the key elsewhere;\n"
    "  name a sheet in the layout (name, or ignore_sheets), if what it is called is nobody's name;\n"
    "  name a column of dates in the layout, so that its dates become days from the index drainage;\n"
    "  correct or blank the cells, or change the comment, property or name, in a copy of the file;\n"
    "  where a person has looked and found nobody named: --accept COLUMN lets the places pass that are not marked *,\n"
    "  and each of these lets one place pass, marked or not (in a layout: accept = [...] with the same texts):"
)
_MOST_RELEASES = 40
_CAUTION = "De-identification aids certify nothing: finding nothing does not show that nothing is there."


def refusal_text(suspicions: Iterable[Suspicion]) -> str:
    """Why an export is refused, grouped by place, with what to do; blank if there is no suspicion."""
    suspicions = list(suspicions)
    if not suspicions:
        return ""
    columns = [each for each in suspicions if not each.where and each.row is None]
    cells = [each for each in suspicions if each.row is not None]
    elsewhere = [each for each in suspicions if each.where]
    parts = (
        f"This may tell who somebody is: {_count(suspicions)}. Nothing was read into a table. Values withheld.",
        _block("Columns", map(_line, _grouped(columns))),
        _block("Cells", map(_line, _grouped(cells))),
        _block("Outside the cells", map(_line, _grouped(elsewhere))),
        f"{_ADVICE}\n{_releases(suspicions)}",
        _CAUTION,
    )
    return "\n\n".join(part for part in parts if part)


def _releases(suspicions: Sequence[Suspicion]) -> str:
    tokens = list(dict.fromkeys(each.release for each in suspicions))
    left = len(tokens) - _MOST_RELEASES
    more = [f"    … and {left:,} more, printed once these are accepted"] if left > 0 else []
    return "\n".join((*(f"    --accept {accepting(token)}" for token in tokens[:_MOST_RELEASES]), *more))


def _count(suspicions: Sequence[Suspicion]) -> str:
    places = len({(each.file, each.sheet, each.row, each.column, each.where) for each in suspicions})
    return f"{places:,} place" if places == 1 else f"{places:,} places"


def _block(title: str, lines: Iterable[str]) -> str:
    told = list(lines)
    return "\n".join((f"{title}:", *(f"  {line}" for line in told))) if told else ""


def _place(each: Suspicion) -> tuple[str, ...]:
    return each.file, each.sheet, each.column, each.where, each.kind, each.rule, each.severity


def _grouped(suspicions: Iterable[Suspicion]) -> list[list[Suspicion]]:
    ordered = sorted(suspicions, key=lambda each: (*_place(each), each.row or 0))
    return [list(group) for _, group in groupby(ordered, key=_place)]


def _line(group: Sequence[Suspicion]) -> str:
    one = group[0]
    star = " *" if one.severity == STOPS else ""
    parts = (one.where, one.file, _quoted("sheet ", one.sheet), _quoted("", one.column), _rows(group))
    return f"{', '.join(filter(None, parts))}: {KINDS[one.kind]} ({one.rule}; value withheld){star}"


def _quoted(before: str, name: str) -> str:
    return f'{before}"{name}"' if name else ""


def _rows(group: Sequence[Suspicion]) -> str:
    rows = [each.row for each in group if each.row is not None]
    if not rows:
        return ""
    listed = ", ".join(map(str, rows[:_MOST_ROWS]))
    more = f" and {len(rows) - _MOST_ROWS:,} more" if len(rows) > _MOST_ROWS else ""
    return f"{'row' if len(rows) == 1 else 'rows'} {listed}{more}"
