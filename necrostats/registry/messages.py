"""Findings as a person reads them: a report of what is wrong, where and what to do, and a workbook to filter."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from datetime import datetime
from typing import Protocol

import pandas as pd
import xlsxwriter

from necrostats.errors import NecrostatsError
from necrostats.registry.codebook import TABLES
from necrostats.registry.findings import SEVERITIES, sentence
from necrostats.registry.tables import Source
from necrostats.visible import visible

SHOWN = 5
LONGEST_VALUE = 80
HEADINGS = {"stops": "Problems", "asks": "To ask about", "notes": "Notes"}


class Checked(Protocol):
    """What a report tells of: a registry, or what was written of one."""

    findings: pd.DataFrame
    set_aside: pd.DataFrame
    source: Source


def check_report(checked: Checked | NecrostatsError, name: str, *, every: bool = False) -> str:
    """The whole report on a registry, or on the error that reading it raised.

    Findings that stop come first; of the same kind the first five are shown, or all with `every`.
    """
    if not isinstance(checked, NecrostatsError):
        headline = _headline(checked.findings, name, "can be used in part, with what cannot be right set aside")
        return "\n".join([_report(headline, checked.findings, every), *_counts(checked)])
    findings = getattr(checked, "findings", None)
    return str(checked) if findings is None else problem_report(findings, name, every=every)


def problem_report(findings: pd.DataFrame, name: str, *, every: bool = False) -> str:
    """The headline and the findings of a source of which nothing can be used, shortened unless `every`."""
    return _report(_headline(findings, name, "cannot be used yet"), findings, every)


def stops(registry: Checked) -> bool:
    """Whether a finding stops: the registry can be looked at, but rows or cells of it are missing."""
    return bool((registry.findings["severity"] == "stops").any())


def _report(headline: str, findings: pd.DataFrame, every: bool) -> str:
    return "\n".join([headline, *_sections(findings, every), ""])


def _headline(findings: pd.DataFrame, name: str, with_problems: str) -> str:
    counts = findings["severity"].value_counts()
    if problems := counts.get("stops", 0):
        return f"{name} {with_problems}: {_count(problems, 'problem')}."
    asks = counts.get("asks", 0)
    return f"{name} can be used: {_count(asks, 'thing') + ' to ask about' if asks else 'nothing to ask about'}."


def _count(number: int, noun: str) -> str:
    return f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s"


def _sections(findings: pd.DataFrame, every: bool) -> Iterator[str]:
    for severity in SEVERITIES:
        found = findings[findings["severity"] == severity]
        if len(found):
            yield f"\n{HEADINGS[severity]}"
            for _, group in found.groupby(["rule", "table", "column"], sort=False, observed=True, dropna=False):
                yield from _group(group, every)


def _group(group: pd.DataFrame, every: bool) -> Iterator[str]:
    shown = group if every or len(group) <= SHOWN + 1 else group.head(SHOWN)
    yield ""
    for finding in shown.itertuples():
        yield f"  {sentence(finding._replace(value=on_one_line(finding.value)))}"
    if len(shown) < len(group):
        where = f" in {group['table'].iloc[0]}" if group["table"].iloc[0] else ""
        yield f"  … and {len(group) - len(shown):,} more like it{where}. Add --all to the command to see them."
    for remedy in dict.fromkeys(map(printable, shown["remedy"])):
        if remedy:
            yield f"    {remedy}"


def printable(text: str) -> str:
    """A text with line breaks and marks that cannot be printed as dots."""
    return "".join(character if character.isprintable() else "·" for character in text)


def on_one_line(value: str) -> str:
    """A cell as written, fit for one line: line breaks and marks that cannot be printed as dots, cut if long."""
    plain = printable(value[: LONGEST_VALUE + 1])
    return plain if len(plain) <= LONGEST_VALUE else f"{plain[:LONGEST_VALUE]}…"


def _counts(registry: Checked) -> Iterator[str]:
    read, kept = registry.source.rows_read, registry.source.rows_kept
    if not read:
        return
    cells = registry.set_aside.loc[registry.set_aside["scope"] == "cell", "table"].value_counts()
    yield f"\n{'':22}{'rows read':>12}{'kept':>12}{'set aside':>12}{'cells set aside':>18}"
    for name in TABLES:
        aside = read[name] - kept[name]
        yield f"  {name:20}{read[name]:>12,}{kept[name]:>12,}{aside:>12,}{cells.get(name, 0):>18,}"


FINDINGS_WORKBOOK = "findings.xlsx"
HEADS = {
    "severity": ("Severity", 10),
    "row": ("Row", 8),
    "column": ("Column", 24),
    "value": ("As written", 28),
    "problem": ("What is wrong", 60),
    "remedy": ("What to do", 60),
    "rule": ("Rule", 18),
}
_MADE = datetime(2000, 1, 1)  # fixed, so that the same findings give the same bytes
_OPTIONS = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
_LONGEST_NAME, _MOST_ROWS, _LONGEST_CELL = 31, 1_048_575, 32_000


def findings_workbook(findings: pd.DataFrame) -> bytes:
    """The bytes of an .xlsx file. Every cell is text or a row number: nothing in it is a formula or a link."""
    written = io.BytesIO()
    with xlsxwriter.Workbook(written, _OPTIONS) as book:
        book.set_properties({"title": "Findings", "created": _MADE})
        bold = book.add_format({"bold": True, "bottom": 1})
        wrapped = book.add_format({"text_wrap": True, "valign": "top"})
        names: set[str] = set()
        for name, found in _sheets(findings):
            sheet = book.add_worksheet(_name(name, names))
            for place, (head, width) in enumerate(HEADS.values()):
                sheet.set_column(place, place, width, wrapped)
                sheet.write_string(0, place, head, bold)
            for at, row in enumerate(found[list(HEADS)].itertuples(index=False, name=None), start=1):
                _write(sheet, at, row)
            sheet.autofilter(0, 0, max(len(found), 1), len(HEADS) - 1)
            sheet.freeze_panes(1, 0)
    return written.getvalue()


def _sheets(findings: pd.DataFrame) -> Iterator[tuple[str, pd.DataFrame]]:
    if findings.empty:
        yield "Nothing found", findings
    for (file, sheet), found in findings.groupby(["file", "sheet"], sort=False):
        yield sheet or file or "Source", found.head(_MOST_ROWS)


def _write(sheet, at: int, row: tuple) -> None:
    for place, (name, value) in enumerate(zip(HEADS, row, strict=True)):
        if name == "row" and not pd.isna(value):
            sheet.write_number(at, place, int(value))
        elif not pd.isna(value):
            sheet.write_string(at, place, visible(str(value))[:_LONGEST_CELL])


def _name(wanted: str, taken: set[str]) -> str:
    """A name that a workbook takes, and no other sheet has."""
    plain = re.sub(r"[\[\]:*?/\\']", " ", visible(wanted)).strip()[:_LONGEST_NAME] or "Sheet"
    name, number = plain, 2
    while name.casefold() in taken:
        name = f"{plain[: _LONGEST_NAME - 4]} {number}"
        number += 1
    taken.add(name.casefold())
    return name
