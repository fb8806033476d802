"""A layout laid over an export: its sheets and headings found, or every one that is missing named at once."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from fnmatch import fnmatchcase

import numpy as np

from necrostats.errors import RegistryError
from necrostats.registry.export.cells import EMPTY, Export, Grid, RawCell, RawColumn
from necrostats.registry.export.layout import HEADING_OF_A_FORM, VALUES_OF_A_FORM, Layout, SheetLayout
from necrostats.registry.export.layout_keys import Problems
from necrostats.registry.export.names import hint
from necrostats.registry.folding import folded
from necrostats.registry.messages import problem_report


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class LaidColumn:
    """A column with its heading as shown; `raw` holds the rows below the headings only. `sheet` is its number."""

    heading: str
    raw: RawColumn
    sheet: int


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class LaidSheet:
    """A sheet with its headings found. `rows` (N,) are the spreadsheet rows below the headings."""

    number: int
    grid: Grid
    layout: SheetLayout
    rows: np.ndarray
    columns: Mapping[str, LaidColumn]
    below: np.ndarray
    aliases: Mapping[str, str] = field(default_factory=dict)

    def column(self, heading: str) -> LaidColumn:
        """The column of a heading, however it is written."""
        return self.columns[self.key(heading)]

    def key(self, heading: str) -> str:
        """The key among `columns` of a heading that the layout writes."""
        key = folded(heading)
        return self.aliases.get(key, key)

    def __len__(self) -> int:
        return len(self.rows)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Laid:
    """The sheets that the layout reads, in its order; those it ignores by name, and those it does not mention."""

    export: Export
    layout: Layout
    sheets: tuple[LaidSheet, ...]
    ignored: tuple[Grid, ...]
    strangers: tuple[Grid, ...]


def no_record(grid: Grid, sheet: SheetLayout) -> np.ndarray:
    """Rows (N,) that the layout says are no record: by number, or by their first cell with a text in it ("Mean*")."""
    patterns = [folded(text) for text in sheet.skip_texts]
    named, free = np.zeros(len(grid.rows), dtype=bool), np.full(len(grid.rows), bool(patterns))
    for column in grid.columns if patterns else ():
        matches = [any(fnmatchcase(folded(cell.text), each) for each in patterns) for cell in column.cells]
        filled = column.filled() & free
        named |= filled & np.array(matches)[column.which]
        free &= ~filled
    return (named | np.isin(grid.rows, sheet.skip_rows)) & (grid.rows > max(sheet.header_rows))


def as_laid(grid: Grid, sheet: SheetLayout) -> Grid:
    """The sheet as the layout sees it: a form, with a label beside each value, as headings above one row."""
    if not sheet.labels:
        return grid
    label, value = (_column(grid, letters) for letters in (sheet.labels, sheet.values))
    rows = np.flatnonzero(np.isin(grid.rows, sheet.label_rows) | (not sheet.label_rows))
    fields = [
        RawColumn(
            number=value.number,
            cells=(EMPTY, RawCell(text=text), value.cells[value.which[at]]),
            which=np.array([1, 2]),
            hidden=value.hidden,
            row=int(grid.rows[at]),
        )
        for at in rows.tolist()
        if (text := label.cells[label.which[at]].text.strip().rstrip(" :."))
    ]
    none = np.empty(0, dtype=np.int64)
    place = np.array([HEADING_OF_A_FORM, VALUES_OF_A_FORM])
    return replace(grid, rows=place, columns=tuple(fields), merges=(), swallowed=none.astype(bool), widths=none)


def _column(grid: Grid, letters: str) -> RawColumn:
    found = next((column for column in grid.columns if column.letters == letters), None)
    return found or RawColumn(number=0, cells=(EMPTY,), which=np.zeros(len(grid.rows), dtype=np.int8))


def laid(export: Export, layout: Layout) -> Laid:
    """RegistryError, with all `findings`, if the export lacks sheets or headings that the layout names."""
    problems = Problems(layout.name)
    chosen = [(sheet, grid) for sheet in layout.sheets for grid in _grids(export, sheet, layout, problems)]
    sheets = tuple(_laid(number, as_laid(grid, sheet), sheet) for number, (sheet, grid) in enumerate(chosen))
    for sheet in sheets:
        _check_headings(sheet, layout, problems)
    if len(problems):
        findings = problems.findings()
        raise RegistryError(problem_report(findings, layout.name), findings=findings)
    read = {id(grid) for _, grid in chosen}
    others = [grid for grid in export.grids if id(grid) not in read]
    return Laid(
        export=export,
        layout=layout,
        sheets=sheets,
        ignored=tuple(grid for grid in others if is_named(grid, layout.ignore_sheets)),
        strangers=tuple(grid for grid in others if not is_named(grid, layout.ignore_sheets)),
    )


def is_named(grid: Grid, names: Collection[str]) -> bool:
    """Whether one of the names of a layout means this sheet; "*" and "?" in a name stand for any signs, or one."""
    return any(fnmatchcase(own, folded(name)) for own in _names(grid) for name in names)


def _names(grid: Grid) -> set[str]:
    return {folded(grid.name), *({folded(grid.file)} if not grid.sheet else ())}


def _grids(export: Export, sheet: SheetLayout, layout: Layout, problems: Problems) -> Iterator[Grid]:
    if not sheet.names:
        if len(export.grids) == 1:
            yield export.grids[0]
        else:
            problems.add("sheet[1].name", "there is no name, and the source holds several sheets", "Name the sheet.")
        return
    for name in sheet.names:
        found = [grid for grid in export.grids if is_named(grid, (name,))]
        if not found:
            number = layout.sheets.index(sheet) + 1
            problems.add(
                f"sheet[{number}].name",
                f"is no sheet of {export.name}{hint(name, [g.name for g in export.grids])}",
                "Correct the name, or take this [[sheet]] away.",
                name,
            )
        yield from found


def _laid(number: int, grid: Grid, sheet: SheetLayout) -> LaidSheet:
    below = np.flatnonzero(grid.rows > max(sheet.header_rows))
    columns, seen = {}, {}
    for column, heading in zip(grid.columns, headings(grid, sheet.header_rows), strict=True):
        shown = heading or f"({column.letters})"
        key = folded(shown)
        seen[key] = seen.get(key, 0) + 1
        if seen[key] > 1:
            shown, key = f"{shown}#{seen[key]}", f"{key}#{seen[key]}"
        columns[key] = LaidColumn(heading=shown, raw=column.at(below), sheet=number)
    return LaidSheet(
        number=number,
        grid=grid,
        layout=sheet,
        rows=grid.rows[below],
        columns=columns,
        below=below,
        aliases=aliases(sheet, columns),
    )


def aliases(sheet: SheetLayout, columns: Collection[str]) -> dict[str, str]:
    """Headings as the layout writes them → those of the sheet that differ in blanks, signs or the way to count only.

    "DEN{n} date" finds "DEN 1 date", "1st DEN date" is found by "{n} DEN date"; never where two columns would do.
    """
    by_form: dict[str, list[str]] = {}
    for key in columns:
        by_form.setdefault(plainest(key), []).append(key)
    every = (*sheet.headings(), *sheet.carry_down, *sheet.ignore)
    named = {folded(heading) for heading in every} - set(columns)
    found = {heading: by_form.get(plainest(heading), []) for heading in named}
    return {heading: keys[0] for heading, keys in found.items() if len(keys) == 1}


def plainest(heading: str) -> str:
    """A heading without blanks and signs, its ordinals as numbers: "1st DEN  date" and "DEN-1 date" stay apart."""
    counted = re.sub(r"\b([0-9]{1,2})(?:st|nd|rd|th|er|ere|re|e|eme|o|a|\.|º|ª|°)(?=\W|$)", r"\1", folded(heading))
    return re.sub(r"[\W_]+", "", counted)


def headings(grid: Grid, header_rows: tuple[int, ...]) -> list[str]:
    """The heading of each column: its header rows joined by a blank, a merged heading counted for all it spans."""
    lines = [_line(grid, row) for row in header_rows]
    return [" ".join(_pieces(parts)) for parts in zip(*lines, strict=True)]


def _pieces(parts: Iterable[str]) -> Iterator[str]:
    before = ""
    for part in parts:
        bare = " ".join(part.split())
        if bare and bare != before:
            yield bare
        before = bare or before


def _line(grid: Grid, row: int) -> list[str]:
    """What stands in a row, one text a column, merged cells spread."""
    at = np.flatnonzero(grid.rows == row)
    texts = [column.cells[column.which[at[0]]].text.strip() if len(at) else "" for column in grid.columns]
    numbers = [column.number for column in grid.columns]
    for first_row, first, last_row, last in grid.merges:
        if first_row <= row <= last_row and (first_row < row or first < last):
            source = np.flatnonzero(grid.rows == first_row)
            if len(source) and first in numbers:
                corner = grid.columns[first - 1]
                text = corner.cells[corner.which[source[0]]].text.strip()
                texts = [text if first <= each <= last else own for each, own in zip(numbers, texts, strict=True)]
    return texts


def _check_headings(sheet: LaidSheet, layout: Layout, problems: Problems) -> None:
    place = f"sheet[{layout.sheets.index(sheet.layout) + 1}]"
    known = [column.heading for column in sheet.columns.values()]
    named = [*sheet.layout.headings(), *sheet.layout.carry_down, *sheet.layout.ignore]
    there = sheet.columns.keys() | sheet.aliases.keys()
    lost = [heading for heading in dict.fromkeys(named) if folded(heading) not in there]
    for heading in lost:
        problems.add(
            place,
            f'is no heading of "{sheet.grid.name}"{hint(heading, known)}',
            "Correct it here, or say in header_rows where the headings are.",
            heading,
        )
