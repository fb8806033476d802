"""Findings about made tables told in the places of the export: file, sheet, row, heading, the cell as written."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from necrostats.registry.export.cells import RawColumn
from necrostats.registry.export.defaults import written_in
from necrostats.registry.export.drafting import AS_WRITTEN
from necrostats.registry.export.mapped_sheets import LaidSheet
from necrostats.registry.export.readings import DATE, PRIVATE
from necrostats.registry.export.redaction import WITHHELD
from necrostats.registry.export.redaction import shown as shown_text
from necrostats.registry.export.table_drafts import NOWHERE, Made, Making, Mark, Origin
from necrostats.registry.export.targets import fills
from necrostats.registry.findings import no_findings


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Seen:
    """The different cells (U,) of a column: as they may be shown, and whether there is anything in them."""

    shown: np.ndarray
    filled: np.ndarray

    @classmethod
    def of(cls, raw: RawColumn, *, dates_shown: bool) -> _Seen:
        texts = written_in(raw)
        shown = texts if dates_shown else np.array([shown_text(text) for text in texts], dtype=object)
        return cls(shown=shown, filled=texts != "")


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Places:
    """Finds the place in the export of rows and columns of made tables. Dates show as written only if `dates_shown`."""

    making: Making
    sheets: tuple[LaidSheet, ...]
    name: str
    dates_shown: bool = False
    _kept: dict[int, _Seen] = field(default_factory=dict, init=False, repr=False)

    def all_findings(
        self, frames: Sequence[pd.DataFrame], before: int, said: Sequence[tuple[str, Mark]]
    ) -> pd.DataFrame:
        """The findings of a draft in the places of the export; those of marks, one frame each, come after `before`."""
        told = [self._of_mark(frame, *mark) for frame, mark in zip(frames[before:], said, strict=False)]
        rest = [*frames[:before], *frames[before + len(said) :]]
        told += [self.findings(frame, frame["table"].iloc[0]) for frame in rest if len(frame)]
        return _once(pd.concat(told, ignore_index=True)) if told else no_findings()

    def _of_mark(self, found: pd.DataFrame, table: str, mark: Mark) -> pd.DataFrame:
        place = self.at(self.making.tables[table], mark.column, mark.at, mark.origin)
        return found.assign(**place)

    def findings(self, found: pd.DataFrame, table: str) -> pd.DataFrame:
        """Findings about one made table, in the places of the export."""
        made = self.making.tables[table]
        located = found["row"].notna().to_numpy()
        rows = found["row"].fillna(1).to_numpy(dtype=np.int64) - 1
        out = found.copy()
        out["file"], out["sheet"] = "", ""
        for column in found["column"].unique():
            at = np.flatnonzero((found["column"] == column).to_numpy() & located)
            if len(at):
                place = self.of(made, column, rows[at])
                place["value"] = _value(found["value"].to_numpy(dtype=object)[at], place["value"])
                for name, values in place.items():
                    out.iloc[at, out.columns.get_loc(name)] = values
        out.loc[~located, "file"] = self.name
        return out

    def set_aside(self, listed: pd.DataFrame, table: str) -> pd.DataFrame:
        """Set-aside rows and cells of one made table, in the places of the export."""
        made = self.making.tables[table]
        out = listed.copy()
        rows = listed["row"].to_numpy(dtype=np.int64) - 1
        for column in listed["column"].unique():
            at = np.flatnonzero((listed["column"] == column).to_numpy())
            place = self.of(made, column, rows[at])
            for name in ("file", "sheet", "row", "column"):
                out.iloc[at, out.columns.get_loc(name)] = place[name]
        return out

    def of(self, made: Made, column: str, rows: np.ndarray) -> dict[str, object]:
        """file, sheet, row, column and value of some cells of a made table."""
        return self.at(made, column, rows, best_origin(made, column).take(rows))

    def at(self, made: Made, column: str, rows: np.ndarray, origin: Origin) -> dict[str, object]:
        """The same, of cells whose origin is known."""
        number = np.where(origin.column == NOWHERE, made.sheet[rows], self._sheet_of(origin))
        at = np.where(origin.column == NOWHERE, made.at[rows], origin.at)
        sheets = [self.sheets[each] for each in number]
        filled = "" if _is_code(made, column) else column
        heading = [filled if each == NOWHERE else self.making.columns[each].heading for each in origin.column]
        return {
            "file": [sheet.grid.file for sheet in sheets],
            "sheet": [sheet.grid.sheet for sheet in sheets],
            "row": pd.array([int(row) for row in self._rows(origin, sheets, at)], dtype="Int64"),
            "column": heading,
            "value": self.values(origin),
        }

    def _rows(self, origin: Origin, sheets: Sequence[LaidSheet], at: np.ndarray) -> Iterator[int]:
        """Where the spreadsheet shows each cell."""
        for number, sheet, each in zip(origin.column, sheets, at, strict=True):
            own = 0 if number == NOWHERE else self.making.columns[number].raw.row
            yield own or sheet.rows[each]

    def _sheet_of(self, origin: Origin) -> np.ndarray:
        listed = np.array([*(column.sheet for column in self.making.columns), 0])
        return listed[origin.column]

    def values(self, origin: Origin) -> np.ndarray:
        """The cells as they may be shown."""
        texts = np.full(len(origin.column), "", dtype=object)
        for number in np.unique(origin.column[origin.column != NOWHERE]):
            rows = np.flatnonzero(origin.column == number)
            seen, which = self._seen(int(number)), self.making.columns[number].raw.which[origin.at[rows]]
            withheld = origin.withheld[rows]
            hidden = (withheld == PRIVATE) | ((withheld == DATE) & (not self.dates_shown))
            texts[rows] = np.where(hidden & seen.filled[which], WITHHELD, seen.shown[which])
        return texts

    def filled(self, origin: Origin) -> np.ndarray:
        """Where (N,) an origin is a cell with something in it."""
        found = np.zeros(len(origin.column), dtype=bool)
        for number in np.unique(origin.column[origin.column != NOWHERE]):
            rows = np.flatnonzero(origin.column == number)
            found[rows] = self.filled_in(int(number), origin.at[rows])
        return found

    def filled_in(self, number: int, at: np.ndarray) -> np.ndarray:
        """Where (N,) there is something in the cells of one column of the export."""
        return self._seen(number).filled[self.making.columns[number].raw.which[at]]

    def _seen(self, number: int) -> _Seen:
        if number not in self._kept:
            self._kept[number] = _Seen.of(self.making.columns[number].raw, dates_shown=self.dates_shown)
        return self._kept[number]


def _once(found: pd.DataFrame) -> pd.DataFrame:
    """The findings without those that say the same of the same cell; only cells found twice are compared whole."""
    doubtful = found[found.duplicated(["row", "column"], keep=False)]
    again = doubtful.index[doubtful.duplicated()]
    return found.drop(index=again).reset_index(drop=True) if len(again) else found


def _is_code(made: Made, column: str) -> bool:
    """Whether a column holds codes that the reading gives itself, and that no sheet therefore has."""
    return any(each.name == column and each.kind in ("id", "ids") for each in made.table.all_columns)


def _value(told: np.ndarray, written: np.ndarray) -> np.ndarray:
    """The cell as written, where a finding shows a value at all; what a rule worked out itself stays."""
    made = np.where(told == AS_WRITTEN, "", told)
    return np.where((told != "") & (written != ""), written, made)


def best_origin(made: Made, column: str) -> Origin:
    """The origin of a column; that of the target which fills it, where the column itself came from no cell."""
    own = made.origin(column)
    for target, other in made.origins.items():
        if column in fills(made.table.name, target) and target != column:
            lacking = np.flatnonzero((own.column == NOWHERE) & (other.column != NOWHERE))
            own = own.put(lacking, other.take(lacking))
    return own
