"""What was set aside when a tidy folder was made: its set_aside.csv is part of the registry, and is read with it."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from necrostats.errors import RegistryError, SourceError
from necrostats.registry.codebook import TABLES
from necrostats.registry.findings import SCOPES, findings_frame, no_findings
from necrostats.registry.messages import FINDINGS_WORKBOOK
from necrostats.registry.privacy import Sheet, find_identifiers, refusal_text
from necrostats.registry.tables import SET_ASIDE_COLUMNS, nothing_set_aside
from necrostats.registry.text import undefused

LEDGER, SET_ASIDE, FINDINGS = "ledger.csv", "set_aside.csv", "findings.csv"
BESIDE = (LEDGER, SET_ASIDE, FINDINGS, FINDINGS_WORKBOOK)
"""Files that `necrostats tidy` writes beside the tables."""


def set_aside_before(source: str | Path) -> pd.DataFrame:
    """The list of what was set aside on the way to a tidy folder; empty if there is none.

    SourceError if the file is not such a list; RegistryError if anything in it looks like an identifier.
    """
    path = Path(source) / SET_ASIDE
    if not path.is_file():
        return nothing_set_aside()
    try:
        listed = pd.read_csv(path, dtype=object, keep_default_na=False, encoding="utf-8-sig")
        sound = list(listed.columns) == list(SET_ASIDE_COLUMNS) and _is_ours(listed)
        rows = pd.to_numeric(listed["row"].replace("", None)).astype("Int64") if sound else None
    except (ValueError, TypeError, OSError) as error:
        raise SourceError(_not_a_list(path)) from error
    if rows is None:
        raise SourceError(_not_a_list(path))
    _refuse_identifiers(listed)
    text = [name for name in SET_ASIDE_COLUMNS if name != "row"]
    plain = {name: [undefused(str(cell)) for cell in listed[name]] for name in text}
    plain["patient_id"] = [each or None for each in plain["patient_id"]]
    frame = pd.DataFrame({**plain, "row": rows}, dtype=object)[list(SET_ASIDE_COLUMNS)]
    return frame.astype({**dict.fromkeys(text, object), "row": "Int64"})


def _is_ours(listed: pd.DataFrame) -> bool:
    rules = listed["rule"].astype(str).str.fullmatch(r"[A-Z][A-Z0-9_]{1,40}")
    return bool((listed["table"].isin(list(TABLES)) & listed["scope"].isin(SCOPES) & rules).all())


def _not_a_list(path: Path) -> str:
    return f"{path.name} is not the list that necrostats writes. Make the folder again, or take the file out of it."


def _refuse_identifiers(listed: pd.DataFrame) -> None:
    names = [str(name) for column in ("file", "sheet", "column") for name in listed[column].unique()]
    ids = {"patient_id": listed["patient_id"].astype(str).tolist()}
    sheet = Sheet(file=SET_ASIDE, name="", header=["patient_id", *names], columns=ids)
    found = find_identifiers([sheet], id_columns=("patient_id",))
    if found:
        raise RegistryError(refusal_text(found))


def count(number: int, one: str, many: str) -> str:
    """A number with its noun: "1 row", "2 rows"."""
    return f"{number:,} {one if number == 1 else many}"


def about_before(aside: pd.DataFrame, name: str) -> pd.DataFrame:
    """One note that says how much was set aside before."""
    if aside.empty:
        return no_findings()
    rows = int((aside["scope"] == "row").sum())
    return findings_frame(
        row=[pd.NA],
        severity="notes",
        scope="table",
        rule="SET_ASIDE_BEFORE",
        file=name,
        problem=f"{count(rows, 'row', 'rows')} and {count(len(aside) - rows, 'cell', 'cells')} were set aside when "
        "these tables were made",
        remedy=f"{SET_ASIDE} lists them. They still count as known to be missing.",
    )
