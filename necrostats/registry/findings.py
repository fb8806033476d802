"""What reading and checking have to say: one row a finding, kept as a table so that a million rows stay cheap."""

from __future__ import annotations

import numpy as np
import pandas as pd

SEVERITIES = ("stops", "asks", "notes")
SCOPES = ("cell", "row", "table")
DUPLICATE_ROW = "DUPLICATE_ROW"
"""The rule about a row that stands a second time word for word: the first counts, and nothing is lost."""

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
