"""A layout laid over an export: its sheets and headings found, or every one that is missing named at once."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fnmatch import fnmatchcase

import numpy as np

from necrostats.errors import RegistryError
from necrostats.registry.export.cells import EMPTY, Export, Grid, RawColumn
from necrostats.registry.export.layout import ALTERNATIVE, Layout, SheetLayout
from necrostats.registry.export.layout_keys import Problems
from necrostats.registry.export.names import hint
from necrostats.registry.export.sheet_blocks import as_laid, headings
from necrostats.registry.messages import problem_report
from necrostats.registry.text import folded


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class LaidColumn:
    """A column with its heading as shown; `raw` holds the rows below the headings only. `sheet` is its number."""

    heading: str
    raw: RawColumn
    sheet: int


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class LaidSheet:
    """A sheet with its headings found. `rows` (N,) are the spreadsheet rows below the headings.

    `lacking` are headings that other sheets of the same form have: here nothing stands under them.
    """

    number: int
    grid: Grid
    layout: SheetLayout
    rows: np.ndarray
    columns: Mapping[str, LaidColumn]
    below: np.ndarray
    aliases: Mapping[str, str] = field(default_factory=dict)
    lacking: tuple[str, ...] = ()

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


def laid(export: Export, layout: Layout) -> Laid:
    """RegistryError, with all `findings`, if the export lacks sheets or headings that the layout names."""
    problems = Problems(layout.name)
    chosen = [(sheet, grid) for sheet in layout.sheets for grid in _grids(export, sheet, layout, problems)]
    found = tuple(_laid(number, *as_laid(grid, sheet)) for number, (sheet, grid) in enumerate(chosen))
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
    there = sheet.columns.keys() | sheet.aliases.keys()
    return [heading for heading in dict.fromkeys(named) if folded(heading) not in there]


def _check_headings(sheets: Sequence[LaidSheet], number: int, problems: Problems) -> None:
    """A heading that no sheet of a form has is a mistake; so is a key that one of them lacks."""
    filled = [sheet for sheet in sheets if len(sheet) or len(sheets) == 1]
    lacking = [_lacking(sheet) for sheet in filled]
    everywhere = [heading for heading in (lacking[0] if lacking else []) if all(heading in each for each in lacking)]
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
