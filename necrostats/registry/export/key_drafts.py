"""Which column of a sheet holds the study codes, or names the sessions, guessed from headings and from codes shared."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace

from necrostats.registry.export.cells import RawColumn
from necrostats.registry.export.heading_guesses import WITHIN, filled_cells, likeness, phrases
from necrostats.registry.export.layout_text import Sheet
from necrostats.registry.text import folded

_HALF = 0.5  # of codes shared with other sheets


def with_keys(sheets: Sequence[Sheet], main_of: Callable[[Sequence[Sheet]], Sheet | None]) -> list[Sheet]:
    """Sheets with the column of study codes: well headed, and with the codes that the sheet of patients has."""
    headed = [replace(sheet, key=_best_key(sheet, "patient", frozenset())) for sheet in sheets]
    everywhere = frozenset(code for sheet in headed if sheet.key for code in codes_in_column(sheet.columns[sheet.key]))
    first = [sheet if sheet.key else replace(sheet, key=_likest(sheet, everywhere)) for sheet in headed]
    main = main_of(first)
    known = frozenset(codes_in_column(main.columns[main.key])) if main and main.key else frozenset()
    return _each_a_patient([_keyed(sheet, known) for sheet in first], known)


def _each_a_patient(sheets: Sequence[Sheet], known: frozenset[str]) -> list[Sheet]:
    """Sheets of which each is a patient, named by the sheet where the table below a form does not name one."""
    unnamed = {sheet.names for sheet in sheets if sheet.starts and shared_of(sheet, known) < _HALF}
    return [
        replace(sheet, key="") if set(sheet.names) & {n for each in unnamed for n in each} else sheet
        for sheet in sheets
    ]


def shared_of(sheet: Sheet, known: frozenset[str]) -> float:
    """The share of the codes of a sheet that are known; 0 where it has none."""
    return _shared(sheet.columns[sheet.key], known) if sheet.key else 0.0


def _keyed(sheet: Sheet, known: frozenset[str]) -> Sheet:
    key = _best_key(sheet, "patient", known)
    session = _best_key(sheet, "session", frozenset())
    if session and (key == session or (known and key and not _shared(sheet.columns[key], known))):
        return replace(sheet, key="", session=session)
    return replace(sheet, key=key, session="" if key else session)


def _best_key(sheet: Sheet, kind: str, known: frozenset[str]) -> str:
    other = phrases()["keys"]["session" if kind == "patient" else "patient"]
    scores = {}
    for heading, column in sheet.columns.items():
        alike = likeness(heading, phrases()["keys"][kind])
        headed = alike >= WITHIN and likeness(heading, other) <= alike
        held = kind == "patient" and _shared(column, _telling(known)) >= _HALF
        if (headed or held) and _are_codes(column):
            scores[heading] = alike + 2 * _shared(column, known)
    return max(scores, key=scores.get, default="")


def _likest(sheet: Sheet, known: frozenset[str]) -> str:
    """The column, whatever its heading, that holds most of the codes of the other sheets; blank if none has half."""
    telling = _telling(known)
    shares = {heading: _shared(column, telling) for heading, column in sheet.columns.items() if _are_codes(column)}
    best = max(shares, key=shares.get, default="")
    return best if best and shares[best] >= _HALF else ""


def _telling(codes: frozenset[str]) -> frozenset[str]:
    """Codes with a letter in them: a bare number can be anything."""
    return frozenset(code for code in codes if re.search("[a-z]", code))


def codes_in_column(column: RawColumn) -> list[str]:
    """The different codes of a column, without what typists write differently."""
    return [re.sub(r"[\W_]+|(?<![0-9])0+(?=[0-9])|\.0+$", "", folded(cell.text)) for cell in filled_cells(column)]


def _shared(column: RawColumn, known: frozenset[str]) -> float:
    codes = codes_in_column(column)
    return sum(code in known for code in codes) / len(codes) if codes and known else 0.0


def _are_codes(column: RawColumn) -> bool:
    cells = filled_cells(column)
    return bool(cells) and sum(
        bool(re.search("[0-9]", each.text)) and len(each.text) <= 20 for each in cells
    ) * 2 > len(cells)
