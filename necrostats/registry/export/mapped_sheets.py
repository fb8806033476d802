"""A layout laid over an export: its sheets and headings found, or every one that is missing named at once.

Which rows of it hold the headings, and which are no record.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fnmatch import fnmatchcase

import numpy as np
import pandas as pd

from necrostats.errors import RegistryError
from necrostats.registry.export.cells import EMPTY, Export, Grid, RawCell, RawColumn
from necrostats.registry.export.layout import ALTERNATIVE, HEADING_OF_A_FORM, VALUES_OF_A_FORM, Layout, SheetLayout
from necrostats.registry.export.layout_keys import Problems
from necrostats.registry.messages import problem_report
from necrostats.registry.privacy.dates import has_full_date, without_dates
from necrostats.registry.text import fold, folded, hint

_FEWEST_REPEATED = 2


def as_laid(grid: Grid, sheet: SheetLayout) -> tuple[Grid, SheetLayout]:
    """The part of a sheet that is meant, and the layout with the row of its headings; no rows where the mark lacks.

    A form, with a label beside each value, comes as headings above one row.
    """
    if sheet.starts or sheet.ends:
        grid, sheet = _block(grid, sheet)
    return (_as_form(grid, sheet), sheet) if sheet.labels else (grid, sheet)


def _block(grid: Grid, sheet: SheetLayout) -> tuple[Grid, SheetLayout]:
    first = first_texts(grid)
    begins = _matching(first, sheet.starts)
    if sheet.starts and not len(begins):
        return rows_of(grid, np.empty(0, dtype=np.int64)), sheet
    start = int(begins[0]) if len(begins) else 0
    ends = [at for at in _matching(first, sheet.ends) if at > start or not sheet.starts]
    block = rows_of(grid, np.arange(start, int(ends[0]) if ends else len(grid.rows)))
    return block, replace(sheet, header_rows=(int(grid.rows[start]),)) if sheet.starts and not sheet.labels else sheet


def _matching(first: Sequence[str], patterns: Sequence[str]) -> np.ndarray:
    wanted = [folded(pattern) for pattern in patterns]
    return np.flatnonzero([any(fnmatchcase(text, each) for each in wanted) for text in first])


def first_texts(grid: Grid) -> list[str]:
    """The text, folded, of the first filled cell of each row; blank where there is none."""
    found = np.full(len(grid.rows), "", dtype=object)
    free = np.ones(len(grid.rows), dtype=bool)
    for column in grid.columns:
        filled = column.filled() & free
        texts = np.array([folded(cell.text) for cell in column.cells], dtype=object)
        found[filled] = texts[column.which[filled]]
        free &= ~filled
    return found.tolist()


def rows_of(grid: Grid, at: np.ndarray) -> Grid:
    """Some rows of a sheet."""
    columns = tuple(replace(column, which=column.which[at]) for column in grid.columns)
    beside = {name: getattr(grid, name)[at] for name in ("swallowed", "widths") if len(getattr(grid, name))}
    return replace(grid, rows=grid.rows[at], columns=columns, **beside)


def _as_form(grid: Grid, sheet: SheetLayout) -> Grid:
    label, value = (_column(grid, letters) for letters in (sheet.labels, sheet.values))
    rows = np.flatnonzero(in_form(grid, sheet))
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


def in_form(grid: Grid, sheet: SheetLayout) -> np.ndarray:
    """Rows (N,) of the sheet, or of the block of it, in which a form has its labels."""
    return np.isin(grid.rows, sheet.label_rows) if sheet.label_rows else np.ones(len(grid.rows), dtype=bool)


def _column(grid: Grid, letters: str) -> RawColumn:
    found = next((column for column in grid.columns if column.letters == letters), None)
    return found or RawColumn(number=0, cells=(EMPTY,), which=np.zeros(len(grid.rows), dtype=np.int8))


def no_record(grid: Grid, sheet: SheetLayout) -> np.ndarray:
    """Rows (N,) that are no record: those the layout names, by number or by their first text ("Mean*"), and those that
    say the headings again.
    """
    named = np.zeros(len(grid.rows), dtype=bool)
    named[_matching(first_texts(grid), sheet.skip_texts)] = True
    named |= np.isin(grid.rows, sheet.skip_rows) | _repeats_the_headings(grid, sheet.header_rows)
    return named & (grid.rows > max(sheet.header_rows))


def _repeats_the_headings(grid: Grid, header_rows: tuple[int, ...]) -> np.ndarray:
    """Rows (N,) in which every cell says what heads its column, and two or more do."""
    same, filled = np.zeros(len(grid.rows), dtype=np.int64), np.zeros(len(grid.rows), dtype=np.int64)
    for column, heading in zip(grid.columns, headings(grid, header_rows[-1:]), strict=True):
        says = np.array([bool(heading) and folded(cell.text) == folded(heading) for cell in column.cells])
        same += says[column.which]
        filled += column.filled()
    return (same >= _FEWEST_REPEATED) & (same == filled)


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
                corner = grid.columns[numbers.index(first)]
                text = corner.cells[corner.which[source[0]]].text.strip()
                texts = [text if first <= each <= last else own for each, own in zip(numbers, texts, strict=True)]
    return texts


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class LaidColumn:
    """A column with its heading as shown; `raw` holds the rows below the headings only. `sheet` is its number."""

    heading: str
    raw: RawColumn
    sheet: int


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class LaidSheet:
    """A sheet with its headings found. `rows` (N,) are the spreadsheet rows below the headings.

    `lacking` are headings that other sheets of the same form have: here nothing stands under them. `log` is the number
    of the log that the rows are of (0: of none); `left`: they are those that no [[sheet]] of it takes; `elsewhere`:
    which cells (N,) of a column another [[sheet]] reads; `absent`: (heading, word) of its `where` that no row says.
    """

    number: int
    grid: Grid
    layout: SheetLayout
    rows: np.ndarray
    columns: Mapping[str, LaidColumn]
    below: np.ndarray
    aliases: Mapping[str, str] = field(default_factory=dict)
    lacking: tuple[str, ...] = ()
    log: int = 0
    left: bool = False
    elsewhere: Mapping[str, np.ndarray] = field(default_factory=dict)
    absent: tuple[tuple[str, str], ...] = ()

    def column(self, heading: str) -> LaidColumn:
        """The column of a heading, however it is written."""
        return self.columns[self.key(heading)]

    def key(self, heading: str) -> str:
        """The key among `columns` of a heading that the layout writes."""
        key = folded(heading)
        return self.aliases.get(key, key)

    def rows_shown(self, at: np.ndarray) -> pd.arrays.IntegerArray:
        """The spreadsheet's rows of some positions; none of a form, which has as many as it has labels."""
        rows = pd.array(self.rows[at], dtype="Int64")
        return pd.array([pd.NA] * len(rows), dtype="Int64") if self.layout.labels else rows

    def __len__(self) -> int:
        return len(self.rows)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Laid:
    """The sheets that the layout reads, in its order; those it ignores by name, and those it does not mention.

    `read` are the sheets as they are, each with the part of the layout that reads it.
    """

    export: Export
    layout: Layout
    sheets: tuple[LaidSheet, ...]
    read: tuple[tuple[SheetLayout, Grid], ...]
    ignored: tuple[Grid, ...]
    strangers: tuple[Grid, ...]


def laid(export: Export, layout: Layout) -> Laid:
    """RegistryError, with all `findings`, if the export lacks sheets or headings that the layout names."""
    problems = Problems(layout.name)
    chosen = [(sheet, grid) for sheet in layout.sheets for grid in _grids(export, sheet, layout, problems)]
    found = tuple(laid_sheet(number, *as_laid(grid, sheet)) for number, (sheet, grid) in enumerate(chosen))
    for number, sheet in enumerate(layout.sheets, start=1):
        _check_headings([made for made, (own, _) in zip(found, chosen, strict=True) if own is sheet], number, problems)
    if len(problems):
        findings = problems.findings()
        raise RegistryError(problem_report(findings, layout.name), findings=findings)
    read, sheets = {id(grid) for _, grid in chosen}, tuple(map(_with_blanks, found))
    others = [grid for grid in export.grids if id(grid) not in read]
    return Laid(
        export=export,
        layout=layout,
        sheets=sheets,
        read=tuple(chosen),
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
        found = [grid for grid in export.grids if is_named(grid, (name,)) and not _left_out(grid, name, layout)]
        if not found:
            number = layout.sheets.index(sheet) + 1
            problems.add(
                f"sheet[{number}].name",
                f"is no sheet of {export.name}{hint(name, [g.name for g in export.grids])}",
                "Correct the name, or take this [[sheet]] away.",
                name,
            )
        yield from found


def _left_out(grid: Grid, name: str, layout: Layout) -> bool:
    """Whether a pattern finds a sheet that the layout leaves out by its very name."""
    exact = [each for each in layout.ignore_sheets if not {"*", "?"} & set(each)]
    return bool({"*", "?"} & set(name)) and is_named(grid, exact)


def laid_sheet(number: int, grid: Grid, sheet: SheetLayout) -> LaidSheet:
    """A sheet with its headings found."""
    below = np.flatnonzero(grid.rows > max(sheet.header_rows))
    columns, seen = {}, {}
    for column, heading in zip(grid.columns, headings(grid, sheet.header_rows), strict=True):
        shown = heading or f"({column.letters})"
        key = folded(shown)
        seen[key] = seen.get(key, 0) + 1
        if seen[key] > 1:
            shown, key = f"{shown}#{seen[key]}", f"{key}#{seen[key]}"
        columns[key] = LaidColumn(heading=_undated(shown, column), raw=column.at(below), sheet=number)
    return LaidSheet(
        number=number,
        grid=grid,
        layout=sheet,
        rows=grid.rows[below],
        columns=columns,
        below=below,
        aliases=aliases(sheet, columns),
    )


def _undated(heading: str, column: RawColumn) -> str:
    """A heading as it is shown: a date in it, though nobody's own, is none once it stands beside a patient's cell."""
    plain = fold(heading)
    if not has_full_date(plain):
        return heading
    return " ".join(f"{without_dates(plain, ' (date) ')} ({column.letters})".split())


def aliases(sheet: SheetLayout, columns: Collection[str]) -> dict[str, str]:
    """Headings as the layout writes them → those of the sheet that differ in blanks, signs or the way to count only.

    "DEN{n} date" finds "DEN 1 date", "1st DEN date" is found by "{n} DEN date"; never where two columns would do.
    """
    by_form: dict[str, list[str]] = {}
    for key in columns:
        by_form.setdefault(plainest(key), []).append(key)
    every = (*sheet.headings(), *sheet.carry_down, *sheet.ignore)
    named = {folded(heading) for heading in every} - set(columns)
    found = {heading: _found(heading, columns, by_form) for heading in named}
    return {heading: key for heading, key in found.items() if key}


def _found(heading: str, columns: Collection[str], by_form: Mapping[str, list[str]]) -> str:
    """The one column that is meant by a heading, or by the first of its alternatives that is there."""
    for each in dict.fromkeys((heading, *heading.split(ALTERNATIVE))):
        if each in columns:
            return each
        if len(keys := by_form.get(plainest(each), [])) == 1:
            return keys[0]
    return ""


def plainest(heading: str) -> str:
    """A heading without blanks and signs, its ordinals as numbers: "1st DEN  date" and "DEN-1 date" stay apart."""
    counted = re.sub(r"\b([0-9]{1,2})(?:st|nd|rd|th|er|ere|re|e|eme|o|a|\.|º|ª|°)(?=\W|$)", r"\1", folded(heading))
    return re.sub(r"[\W_]+", "", counted)


def _with_blanks(sheet: LaidSheet) -> LaidSheet:
    """The sheet with a blank column for each heading that other sheets of its form have, and it has not."""
    blank = RawColumn(number=0, cells=(EMPTY,), which=np.zeros(len(sheet), dtype=np.int8))
    lacking = {folded(heading): heading for heading in _lacking(sheet)}
    columns = {key: LaidColumn(heading=heading, raw=blank, sheet=sheet.number) for key, heading in lacking.items()}
    return replace(sheet, columns={**sheet.columns, **columns}, lacking=tuple(lacking.values())) if columns else sheet


def _lacking(sheet: LaidSheet) -> list[str]:
    named = [*sheet.layout.headings(), *sheet.layout.carry_down, *sheet.layout.ignore]
    return [heading for heading in dict.fromkeys(named) if not _has(sheet, heading)]


def _has(sheet: LaidSheet, heading: str) -> bool:
    return folded(heading) in sheet.columns or folded(heading) in sheet.aliases


def _check_headings(sheets: Sequence[LaidSheet], number: int, problems: Problems) -> None:
    """A heading that no sheet of a form has is a mistake, unless it has the same with another number; so is a key that
    one of them lacks."""
    filled = [sheet for sheet in sheets if len(sheet) or len(sheets) == 1]
    lacking = [_lacking(sheet) for sheet in filled]
    numbered = [each for sheet in filled[:1] for each in sheet.layout.one_of_each()]
    spared = {
        heading for each in numbered if any(_has(sheet, one) for sheet in filled for one in each) for heading in each
    }
    everywhere = [
        heading
        for heading in (lacking[0] if lacking else [])
        if heading not in spared and all(heading in each for each in lacking)
    ]
    for sheet, lost in zip(filled, lacking, strict=True):
        for heading in lost:
            if heading in everywhere or heading in sheet.layout.keys:
                _say_missing(sheet, heading, number, problems)


def _say_missing(sheet: LaidSheet, heading: str, number: int, problems: Problems) -> None:
    known = [column.heading for column in sheet.columns.values()]
    problems.add(
        f"sheet[{number}]",
        f'is no heading of "{sheet.grid.name}"{hint(heading, known)}',
        "Correct it here, or say in header_rows where the headings are.",
        heading,
    )
