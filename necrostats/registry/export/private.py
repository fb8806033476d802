"""The privacy check over a whole export: every cell, heading, comment, property and name, before anything is read."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import replace

import numpy as np

from necrostats.errors import RegistryError
from necrostats.registry.export.cells import Export, Grid
from necrostats.registry.export.layout import Layout, RowsLayout, SheetLayout
from necrostats.registry.export.mapped_sheets import aliases, as_laid, headings, is_named
from necrostats.registry.folding import folded
from necrostats.registry.privacy import Sheet, Suspicion, find_identifiers, refusal_text
from necrostats.registry.source_table import Written, objects
from necrostats.registry.words import all_words

_BARE = SheetLayout(names=())


def refuse_identifiers(export: Export, layout: Layout | None = None, accepted: Collection[str] = ()) -> None:
    """RegistryError, with places and never a value, if anything looks like an identifier.

    Dates may stand anywhere but in a study code or an operator's name: what is read of a column of dates is a day, and
    a date in another column is set aside there and shown nowhere.
    """
    known = _known_words(layout)
    accepted = [*accepted, *(layout.accept if layout else ())]
    vouched = layout.vouched if layout else frozenset()
    found = [each for grid, form in _as_laid(export, layout) for each in _in_grid(grid, form, accepted, known, vouched)]
    said = [(place, text) for place, text in export.other_texts if folded(text) not in vouched]
    found += find_identifiers([], said, accepted=accepted)
    if found:
        raise RegistryError(refusal_text(found))


def _known_words(layout: Layout | None) -> frozenset[str]:
    """The words that the layout lists for codes, and those that the reader knows by itself."""
    makers = layout.makers() if layout else ()
    listed = {word for _, rows in makers for column in rows.columns for word in column.codes}
    return frozenset(listed) | all_words()


def _as_laid(export: Export, layout: Layout | None) -> Iterator[tuple[Grid, SheetLayout]]:
    """Every sheet as the layout sees it: first as a form, where it is one, then what the form leaves of it."""
    for grid in export.grids:
        named = [sheet for sheet in layout.sheets if not sheet.names or is_named(grid, sheet.names)] if layout else []
        forms = [sheet for sheet in named if sheet.labels]
        yield from ((as_laid(grid, form), form) for form in forms)
        tables = [sheet for sheet in named if not sheet.labels]
        yield _without(grid, forms), tables[0] if tables else _BARE


def _without(grid: Grid, forms: Collection[SheetLayout]) -> Grid:
    """The sheet with the labels and values of its forms blanked out."""
    for form in forms:
        rows = np.isin(grid.rows, form.label_rows) | (not form.label_rows)
        beside = (form.labels, form.values)
        columns = [
            replace(column, which=np.where(rows & (column.letters in beside), 0, column.which))
            for column in grid.columns
        ]
        grid = replace(grid, columns=tuple(columns))
    return grid


def _in_grid(
    grid: Grid, form: SheetLayout, accepted: Collection[str], known: Collection[str], vouched: Collection[str]
) -> list[Suspicion]:
    above = list(_above(grid, form.header_rows))
    sheet = replace(_sheet(grid, form.header_rows), vouched=folded(grid.name) in vouched)
    there = _headings_there(form, sheet)
    keys, periods, operators = map(there, (form.keys, _mapped(form, _periods), _mapped(form, _operators)))
    no_dates = {folded(heading) for heading in (*keys, *operators)}
    return find_identifiers(
        [sheet],
        above,
        accepted=accepted,
        id_columns=keys,
        date_columns=[heading for heading in sheet.columns if folded(heading) not in no_dates],
        period_columns=periods,
        operator_columns=operators,
        known_words=known,
    )


def _headings_there(form: SheetLayout, sheet: Sheet) -> Callable[[Iterable[str]], list[str]]:
    """Turns headings as the layout writes them into those of the sheet."""
    shown = {folded(heading): heading for heading in sheet.columns}
    other = aliases(form, shown)
    return lambda headings: [shown.get(other.get(folded(heading), folded(heading)), heading) for heading in headings]


def _sheet(grid: Grid, header_rows: tuple[int, ...]) -> Sheet:
    below = np.flatnonzero(grid.rows > max(header_rows))
    columns: dict[str, Written] = {}
    for column, heading in zip(grid.columns, headings(grid, header_rows), strict=True):
        shown = heading or f"({column.letters})"
        while shown in columns:
            shown = f"{shown} ({column.letters})"
        columns[shown] = Written(texts=objects(cell.text for cell in column.cells), which=column.which[below])
    return Sheet(
        file=grid.file,
        name=grid.sheet,
        header=list(columns),
        columns=columns,
        hidden=grid.hidden,
        rows=grid.rows[below],
    )


def _above(grid: Grid, header_rows: tuple[int, ...]) -> Iterator[tuple[str, str]]:
    """The texts above the data that are no headings: titles, remarks."""
    for position in np.flatnonzero((grid.rows <= max(header_rows)) & ~np.isin(grid.rows, header_rows)):
        for column in grid.columns:
            if text := column.cells[column.which[position]].text.strip():
                yield f'{grid.file}, sheet "{grid.sheet}", row {grid.rows[position]}, above the headings', text


def _periods(rows: RowsLayout) -> set[str]:
    return {column.heading for column in rows.columns if column.to in ("period", "index_period")}


def _operators(rows: RowsLayout) -> set[str]:
    return {column.heading for column in rows.columns if column.to == "operator"}


def _mapped(form: SheetLayout, wanted) -> Iterator[str]:
    for rows in form.rows:
        for heading in wanted(rows):
            yield from (heading.replace("{n}", str(number)) for number in rows.numbers or (0,))


def refuse_names(export: Export, header_rows: Mapping[int, tuple[int, ...]], accepted: Collection[str] = ()) -> None:
    """RegistryError if a heading, or the name of a file or sheet, looks like an identifier; cells are not looked at."""
    found = [
        each
        for grid in export.grids
        for each in find_identifiers([_without_cells(_sheet(grid, header_rows[id(grid)]))], accepted=accepted)
        if each.row is not None or each.where
    ]
    if found:
        raise RegistryError(refusal_text(found))


def _without_cells(sheet: Sheet) -> Sheet:
    none = {name: [] for name in sheet.columns}
    return Sheet(file=sheet.file, name=sheet.name, header=sheet.header, columns=none, vouched=True)
