"""Rows that stand a second time word for word, in one sheet or in several that a layout reads alike."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from necrostats.registry.export.mapped_sheets import LaidColumn, LaidSheet

_MIXING = np.uint64(0x9E3779B97F4A7C15)
_BETWEEN = "\x1f"
_OFTEN_ALIKE = {"stents", "scans", "reviews"}
"""Tables of which two rows that say the same may be two things (stents placed side by side), or count as one."""

Contents = tuple[object, ...]


class Copies:
    """The rows met so far, of those that may be the same as another."""

    def __init__(self, sheets: Sequence[LaidSheet], people: Sequence[np.ndarray]) -> None:
        self._signs: dict[int, np.ndarray] = {}
        self._met: set[Contents] = set()
        self._where: dict[Contents, int] = {}
        for alike in _read_alike(sheets):
            signs = [_signs(sheet, people[sheet.number]) for sheet in alike]
            every = np.concatenate(signs)
            shared = np.unique(every[pd.Series(every).duplicated().to_numpy()])
            for sheet, own in zip(alike, signs, strict=True):
                self._signs[sheet.number] = np.isin(own, shared) & (own != 0)

    def of(self, sheet: LaidSheet, person: np.ndarray, free: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Of the free rows (N,) of a sheet those met before: in it, and in another sheet of the same form."""
        here, there = [], []
        for row in np.flatnonzero(self._signs.get(sheet.number, np.zeros(len(sheet), dtype=bool)) & free).tolist():
            contents = (id(sheet.layout.rows), int(person[row]), *_contents(sheet, row))
            first = self._where.setdefault(contents, sheet.number)
            if contents in self._met:
                (here if first == sheet.number else there).append(row)
            self._met.add(contents)
        return np.array(here, dtype=np.int64), np.array(there, dtype=np.int64)


def _read_alike(sheets: Sequence[LaidSheet]) -> list[list[LaidSheet]]:
    found: dict[int, list[LaidSheet]] = {}
    for sheet in sheets:
        if not (sheet.left or sheet.layout.each_row_is_a_patient or _tables(sheet) <= _OFTEN_ALIKE):
            found.setdefault(id(sheet.layout.rows), []).append(sheet)
    return list(found.values())


def _tables(sheet: LaidSheet) -> set[str]:
    return {rows.table for rows in sheet.layout.rows}


def _compared(sheet: LaidSheet) -> Iterator[tuple[str, LaidColumn]]:
    """The columns of a sheet but for those that say who a row is about, which are compared as patients."""
    keys = {sheet.key(heading) for heading in sheet.layout.patient}
    return ((key, column) for key, column in sheet.columns.items() if key not in keys)


def _signs(sheet: LaidSheet, person: np.ndarray) -> np.ndarray:
    """A number (N,) for each row that rows word for word the same share; 0 for one that says nothing."""
    total = np.zeros(len(sheet), dtype=np.uint64)
    for key, column in _compared(sheet):
        texts = [_text(column, number) for number in range(len(column.raw.cells))]
        own = pd.util.hash_array(np.array([f"{key}{_BETWEEN}{text}" for text in texts], dtype=object))
        total += np.where([text != "" for text in texts], own, np.uint64(0))[column.raw.which]
    return np.where(total == 0, total, total ^ (person.astype(np.uint64) + np.uint64(1)) * _MIXING)


def _contents(sheet: LaidSheet, row: int) -> list[tuple[str, str]]:
    """What stands in a row under which heading, blank cells left out."""
    told = ((key, _text(column, int(column.raw.which[row]))) for key, column in _compared(sheet))
    return sorted(each for each in told if each[1])


def _text(column: LaidColumn, number: int) -> str:
    cell = column.raw.cells[number]
    return cell.text.strip() or "=" * cell.no_result
