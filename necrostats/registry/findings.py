"""What reading and checking have to say: of one cell, and as a table with a row for each finding."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd

from necrostats.registry.text import Unread, is_blank, without_value

SEVERITIES = ("stops", "asks", "notes")
SCOPES = ("cell", "row", "table")
DUPLICATE_ROW = "DUPLICATE_ROW"
"""The rule about a row that stands a second time word for word: the first counts, and nothing is lost."""
FOLLOWS = "PARENT_SET_ASIDE"
"""The rule about a row, or a cell, that follows the row it belongs to."""
NO_RECORD = "SKIPPED"
"""The rule about a row that a layout says is no record."""
OF_NO_KIND = "KIND_NOT_MENTIONED"
"""The rule about a row of a log whose kind a layout does not mention."""

COLUMNS = (
    "severity",
    "scope",
    "rule",
    "table",
    "file",
    "sheet",
    "row",
    "column",
    "value",
    "problem",
    "remedy",
)


def no_findings() -> pd.DataFrame:
    """An empty table of findings."""
    return findings_frame(row=[])


def findings_frame(
    *,
    row,
    severity="stops",
    scope="cell",
    rule="",
    table="",
    file="",
    sheet="",
    column="",
    value="",
    problem="",
    remedy="",
) -> pd.DataFrame:
    """A table of findings; each argument is one value for all rows or a sequence as long as `row`.

    `row` is the row number as the spreadsheet shows it (1 = the header); NA for a finding about a whole table.
    `value` is the cell as written; `problem` continues the sentence after it ("is not a date");
    `remedy` says what to do.
    """
    rows = pd.array(row, dtype="Int64")
    given = {
        "severity": severity,
        "scope": scope,
        "rule": rule,
        "table": table,
        "file": file,
        "sheet": sheet,
        "row": rows,
        "column": column,
        "value": value,
        "problem": problem,
        "remedy": remedy,
    }
    frame = pd.DataFrame(given, index=np.arange(len(rows)))[list(COLUMNS)]
    text = [name for name in COLUMNS if name != "row"]
    return frame.astype(dict.fromkeys(text, object))


def in_order(findings: pd.DataFrame) -> pd.DataFrame:
    """Findings that stop first, then by table, row and column."""
    rank = findings["severity"].map({name: place for place, name in enumerate(SEVERITIES)})
    by = findings.assign(_rank=rank).sort_values(["_rank", "file", "sheet", "row", "column"], kind="stable")
    return by.drop(columns="_rank").reset_index(drop=True)


def place(finding) -> str:
    """Where a finding is, in the words of the person who has the file open."""
    parts = [finding.file]
    if finding.sheet:
        parts.append(f'sheet "{finding.sheet}"')
    if not pd.isna(finding.row):
        parts.append(f"row {finding.row}")
    if finding.column:
        parts.append(f'"{finding.column}"')
    return ", ".join(part for part in parts if part)


def sentence(finding) -> str:
    """One finding (a row from `itertuples`) as one sentence, without its remedy."""
    said = f'"{finding.value}" {finding.problem}' if finding.value != "" else finding.problem
    return f"{place(finding)}: {said}."


_DIGIT = re.compile(r"[0-9]")
_YEAR = r"(?:19|20)[0-9]{2}"
_DAY, _MONTH = r"(?:0?[1-9]|[12][0-9]|3[01])", r"(?:0?[1-9]|1[0-2])"
_MONTH_NAME = (
    "(?:jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?|"
    "oct(?:ober)?|nov(?:ember)?|dec(?:ember)?)"
)
_PART = r"[0-9]{0,2}(?:st|nd|rd|th)?[ .,'’/-]*"
_WITH_YEAR = re.compile(
    rf"{_YEAR}[./-][0-9]{{1,2}}[./-][0-9]{{1,2}}(?![0-9]).*|[0-9]{{1,2}}[./-][0-9]{{1,2}}[./-]{_YEAR}(?![0-9]).*"
)
_ANY_DATE = re.compile(
    rf"[0-9]{{1,4}}[./-][0-9]{{1,2}}[./-][0-9]{{1,4}}(?![0-9]).*"
    rf"|{_MONTH}[./-]{_YEAR}|{_YEAR}[./-]{_MONTH}|{_DAY}/{_MONTH}|{_MONTH}/{_DAY}"
    rf"|{_PART}(?:early |mid |late )?{_MONTH_NAME}[ .,'’/-]*{_PART}[0-9]{{0,4}}(?:[ T][0-9:]+)?",
    re.IGNORECASE,
)
TIME_MARK = "0000-00-00"
_LONGEST_DATE = 40


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """What is wrong with a cell, and what to do. `value` is what is kept of it (None = nothing).

    A cell with `withheld` is never shown.
    """

    rule: str
    problem: str
    remedy: str
    severity: str = "stops"
    value: Any = None
    withheld: bool = False


CALENDAR_DATE = Verdict(
    rule="CALENDAR_DATE",
    problem="value withheld: looks like a calendar date",
    remedy="The tidy form holds whole days from the index drainage (day 0), never dates. Write the number of days.",
    withheld=True,
)
NO_RESULT = Verdict(
    rule="NO_RESULT",
    problem="holds a formula whose result was not kept",
    remedy="Let the workbook calculate and save it again, or write the value itself into the cell.",
)


def clean(text: str) -> str:
    """A text without blanks and invisible marks at its ends, its letters composed."""
    if text.isascii():
        return text.strip()
    return unicodedata.normalize("NFC", text).strip("\u200b\ufeff\u200e\u200f \t\r\n\xa0").strip()


def is_unknown(text: str) -> bool:
    """Whether a cell says that nothing is known: blank, "-", "n/a", "?", "not recorded"."""
    return not text or (not _DIGIT.search(text) and _says_nothing(text))


@lru_cache(maxsize=4096)
def _says_nothing(text: str) -> bool:
    return is_blank(text)


def no_value(text: str) -> Verdict | None:
    """The verdict on a cell that cannot hold a value: a formula error, or "as before"; None for any other."""
    if _DIGIT.search(text) and not text.startswith("#"):
        return None
    problem = _nothing_to_read(text)
    if not problem:
        return None
    return Verdict(rule="NO_VALUE", problem=problem, remedy="Write the value itself into the cell.")


@lru_cache(maxsize=4096)
def _nothing_to_read(text: str) -> str:
    try:
        without_value(text)
    except Unread as unread:
        return str(unread)
    return ""


def is_date_with_year(text: str) -> bool:
    """Whether a cell is, beyond doubt, a full calendar date (or a time of day out of a workbook)."""
    return bool(_WITH_YEAR.fullmatch(text)) or text.startswith(TIME_MARK)


def looks_like_a_date(text: str) -> bool:
    """Whether a whole cell can be read as a calendar date, or as a month of a year."""
    return len(text) <= _LONGEST_DATE and (is_date_with_year(text) or bool(_ANY_DATE.fullmatch(text)))
