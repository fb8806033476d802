"""Tables of numbers → csv text: columns, order and codes from the codebook, the same bytes everywhere."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from invented_unit.draws import BLANK
from invented_unit.sessions import OPERATORS, Rows
from necrostats.registry.codebook import TABLES, Column

PREFIX = {
    "patients": "P",
    "collections": "C",
    "sessions": "S",
    "stents": "T",
    "scans": "N",
    "adverse_events": "E",
}
AT_MOST_EACH = {"patients": 1, "collections": 2, "sessions": 30, "stents": 10, "scans": 60, "adverse_events": 30}
LEAST_DIGITS = {"patients": 4, "collections": 4, "sessions": 5, "stents": 5, "scans": 5, "adverse_events": 4}
WRITTEN_RANGES = {"patients": ("onset_day_latest",)}


class Writer:
    """Appends chunks of tables to csv files in a folder; ids run on from chunk to chunk."""

    def __init__(self, folder: Path, patients: int, periods: tuple[str, ...]) -> None:
        self._folder, self._periods = folder, np.array([*periods, ""], dtype=object)
        self._digits = {
            name: max(LEAST_DIGITS[name], len(str(patients * most))) if patients > 2000 else LEAST_DIGITS[name]
            for name, most in AT_MOST_EACH.items()
        }
        self._written = dict.fromkeys(TABLES, 0)
        folder.mkdir(parents=True, exist_ok=True)
        for name in TABLES:
            self._path(name).write_bytes((",".join(columns_of(name)) + "\n").encode())

    def append(self, tables: dict[str, Rows]) -> None:
        """Write one chunk."""
        sizes = {name: len(next(iter(tables[name].values()))) for name in TABLES}
        labels = {name: self._labels(name, sizes[name]) for name in PREFIX}
        for name in TABLES:
            columns = [self._cells(name, column, tables[name], labels, sizes[name]) for column in columns_of(name)]
            text = "\n".join(map(",".join, zip(*(cells.tolist() for cells in columns), strict=True)))
            with self._path(name).open("ab") as file:
                file.write((text + "\n").encode() if text else b"")
        for name, size in sizes.items():
            self._written[name] += size

    def _path(self, name: str) -> Path:
        return self._folder / f"{name}.csv"

    def _labels(self, name: str, size: int) -> np.ndarray:
        start, digits, prefix = self._written[name] + 1, self._digits[name], PREFIX[name]
        listed = [f"{prefix}{number:0{digits}d}" for number in range(start, start + size)]
        return np.array([*listed, ""], dtype=object)

    def _cells(self, table: str, name: str, rows: Rows, labels, size: int) -> np.ndarray:
        column = TABLES[table].column(name)
        if name == TABLES[table].key:
            return labels[table][:-1]
        values = rows[name]
        if column.kind in ("id", "ids"):
            return labels[column.refers_to][values]
        if column.kind == "period":
            return self._periods[values]
        return _plain_cells(column, values)


def columns_of(table: str) -> list[str]:
    """The columns written for a table: all of the codebook's, a `_latest` partner only where one is used."""
    ranges = WRITTEN_RANGES.get(table, ())
    plain = TABLES[table].names
    return [column.name for column in TABLES[table].all_columns if column.name in plain or column.name in ranges]


def _plain_cells(column: Column, values: np.ndarray) -> np.ndarray:
    if column.kind == "code":
        return np.array([*column.codes, ""], dtype=object)[values]
    if column.kind == "yes_no":
        return np.array(["no", "yes", ""], dtype=object)[np.asarray(values, dtype=np.int64)]
    if column.name == "operator":
        return OPERATORS[values]
    if column.kind == "text":
        return values
    return _number_cells(np.asarray(values))


def _number_cells(values: np.ndarray) -> np.ndarray:
    tenths = np.where(np.isnan(values) | (values == BLANK), BLANK, np.round(values * 10)).astype(np.int64)
    present = tenths[tenths != BLANK]
    if present.size == 0:
        return np.full(len(values), "", dtype=object)
    low, high = int(present.min()), int(present.max())
    whole = not np.any(present % 10)
    step = 10 if whole else 1
    listed = [_tenths(each) for each in range(low, high + step, step)]
    place = np.where(tenths == BLANK, len(listed), (tenths - low) // step)
    return np.array([*listed, ""], dtype=object)[place]


def _tenths(number: int) -> str:
    whole, part = divmod(abs(number), 10)
    sign = "-" if number < 0 else ""
    return f"{sign}{whole}.{part}" if part else f"{sign}{whole}"
