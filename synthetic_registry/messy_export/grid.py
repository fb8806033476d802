"""A sheet as it grows: cells with their truth, headings, merges, and what is hidden."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from messy_export.cells import ASKED, DUPLICATE, HEADING, KEY, ROW, SKIPPED, Cell, Typed, as_fills


class Grid:
    """One sheet. Rows and columns are counted from 1, as the spreadsheet shows them."""

    def __init__(self, name: str, headings: Sequence[tuple[str, str]], *, top: int = 1, hidden: bool = False) -> None:
        self.name, self.hidden = name, hidden
        self.cells: dict[tuple[int, int], Cell] = {}
        self.merges: list[tuple[int, int, int, int]] = []
        self.hidden_rows: list[int] = []
        self.hidden_columns: list[int] = []
        self.fates: dict[int, str] = {}
        self.tall = any(group for group, _ in headings)
        self.columns = {heading: at for at, heading in enumerate(headings, start=1)}
        self.next_row = top + 1 + self.tall
        self._headings(list(headings), top)

    def _headings(self, headings: list[tuple[str, str]], top: int) -> None:
        start = 1
        for at, (group, label) in enumerate(headings, start=1):
            if not group:
                self.plain(top, at, label, HEADING)
                if self.tall and label:
                    self.merges.append((top, at, top + 1, at))
                start = at + 1
                continue
            self.plain(top + 1, at, label, HEADING)
            if at == len(headings) or headings[at][0] != group:
                self.plain(top, start, group, HEADING)
                self.merges.append((top, start, top, at))
                start = at + 1

    def row(self) -> int:
        """The next free row."""
        self.next_row += 1
        return self.next_row - 1

    def plain(self, row: int, column: int, value: object, fate: str, *, patient: str = "") -> None:
        """A cell that no table takes: a heading, a note, a column that is not read."""
        self._set(row, column, Typed(value=value, fate=fate), patient=patient)  # type: ignore[arg-type]

    def put(
        self,
        row: int,
        heading: tuple[str, str],
        typed: Typed,
        *,
        patient: str = "",
        table: str = "",
        place: str = "",
    ) -> Cell | None:
        """Type into a row under a heading; None if the cell stays empty."""
        column = self.columns[heading]
        if column in self.fates and typed.value not in (None, ""):
            typed = replace(typed, fate=self.fates[column], fills={}, reading="", mess="")
        return self._set(row, column, typed, patient=patient, table=table, place=place)

    def key(self, row: int, heading: tuple[str, str], typed: Typed, patient: str) -> None:
        """Type who the patient is."""
        self._set(row, self.columns[heading], replace(typed, fate=typed.fate or KEY), patient=patient)

    def _set(
        self, row: int, column: int, typed: Typed, *, patient: str, table: str = "", place: str = ""
    ) -> Cell | None:
        if typed.value is None or typed.value == "":
            return None
        becomes = typed.fate or as_fills(table, place, typed.fills)
        cell = Cell(
            row=row,
            column=column,
            typed=typed,
            patient=patient,
            becomes=becomes,
            reading=typed.reading,
            place=f"{table}[{place}]",
        )
        self.cells[row, column] = cell
        return cell

    def in_row(self, row: int) -> list[Cell]:
        """The cells of one row, in order."""
        return [cell for (at, _), cell in sorted(self.cells.items()) if at == row]

    def copy_row(self, row: int, *, aside: bool) -> int:
        """A row word for word again at the end: set aside, the first one kept, or else only asked about."""
        target = self.row()
        for cell in self.in_row(row):
            fate, reading = cell.becomes, cell.reading
            if aside and cell.column not in self.fates:
                fate, reading = DUPLICATE, ""
            elif "day" in cell.typed.fills and reading != ROW:
                reading = ASKED
            self.cells[target, cell.column] = replace(cell, row=target, becomes=fate, reading=reading, comment="")
        return target

    def skip(self, row: int, cells: Iterable[tuple[int, object]]) -> None:
        """A row that holds no record, named in the layout."""
        for column, value in cells:
            self.plain(row, column, value, SKIPPED)


def row_lost(cells: Iterable[Cell | None]) -> None:
    """The row of these cells is set aside for another cell's sake."""
    for cell in cells:
        if cell is not None and cell.typed.fills:
            cell.reading = ROW
