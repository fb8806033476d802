"""A layout proposed from an export's headings and contents, every guess marked as one; no cell is ever shown in it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from necrostats.registry.export.cells import Export, Grid, RawColumn
from necrostats.registry.export.guessing import (
    Group,
    beyond,
    columns_of,
    groups_of,
    header_rows_of,
    key_of,
    looks_dated,
    order_of,
    table_of,
    target_of,
    unit_in,
)
from necrostats.registry.export.private import refuse_names
from necrostats.registry.export.reading import read_export
from necrostats.registry.export.targets import is_date

GUESS = "# a guess: "
_TOP = """\
# Proposed by necrostats. Every line marked "a guess" is one: look at each, correct it, and take the mark away.
format = 1
"""


def draft_layout(export: str | Path) -> str:
    """The text of a layout for an export. SourceError if it cannot be read; RegistryError if a heading or a name in it
    looks like an identifier."""
    read = read_export(export)
    refuse_names(read, {id(grid): header_rows_of(grid) for grid in read.grids})
    return "\n".join([_TOP, *_whole(read)]).rstrip() + "\n"


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Sheet:
    grid: Grid
    header_rows: tuple[int, ...]
    columns: dict[str, RawColumn]
    below: np.ndarray
    table: str
    key: str
    wide: tuple[Group, ...]


def _whole(export: Export) -> Iterator[str]:
    sheets = [_sheet(grid, first=number == 0) for number, grid in enumerate(export.grids)]
    read = [sheet for sheet in sheets if sheet.table and not sheet.grid.hidden and sheet.columns]
    left = [sheet for sheet in sheets if sheet not in read]
    if left:
        yield f"ignore_sheets = {_list([sheet.grid.name for sheet in left])}  {GUESS}hidden, or of no known kind\n"
    yield from _dates(export)
    yield '[fill]\n# "patients.vital_status" = "alive"            # if every death is recorded\n'
    indexed = False
    for sheet in read:
        yield from _told(sheet, indexed=indexed)
        indexed = True


def _sheet(grid: Grid, *, first: bool) -> _Sheet:
    header_rows = header_rows_of(grid)
    columns = dict(columns_of(grid, header_rows))
    shown = list(columns)
    return _Sheet(
        grid=grid, header_rows=header_rows, columns=columns, below=np.flatnonzero(grid.rows > max(header_rows)),
        table=table_of(grid, first=first), key=key_of(shown), wide=tuple(groups_of(shown)),
    )  # fmt: skip


def _dates(export: Export) -> Iterator[str]:
    orders = set().union(*(order_of(grid) for grid in export.grids))
    yield "[dates]"
    if len(orders) == 1:
        yield f'order = "{orders.pop()}"  {GUESS}some dates fit no other order'
    else:
        why = "dates of both orders occur" if orders else "no date typed as text shows its order"
        yield f'# order = "day_first"  # or "month_first": {why}; say it, or say it column by column'
    yield "# data_lock = 2026-09-30   # the day the data were locked\n"


def _told(sheet: _Sheet, *, indexed: bool) -> Iterator[str]:
    yield "[[sheet]]"
    yield f"name = {_text(sheet.grid.name)}"
    yield f"header_rows = {list(sheet.header_rows)}  {GUESS}the first row that looks like headings"
    if sheet.key:
        yield f"patient = {_text(sheet.key)}  {GUESS}it must hold study codes, not record numbers"
    else:
        yield f"each_row_is_a_patient = true  {GUESS}no column looks like a study code"
    used = {sheet.key} | set(_grouped(sheet))
    makers = [(table, found) for table in _tables(sheet) if (found := _found(sheet, table, used))]
    told = {heading for _, found in makers for heading in found}
    rest = [heading for heading in sheet.columns if heading not in used | told and not _is_rest(sheet, heading)]
    if rest:
        yield f"# not guessed; map each of them, or ignore it by name: {', '.join(_text(each) for each in rest)}"
    yield "ignore = []\n"
    if not makers and not sheet.wide:
        yield from _rows(sheet, sheet.table, {next(iter(sheet.columns)): "day"}, commented=True)
    for table, found in makers:
        yield from _rows(sheet, table, found)
    for group in sheet.wide:
        yield from _wide(sheet, group)


def _tables(sheet: _Sheet) -> tuple[str, ...]:
    return ("patients", "collections", "stents") if sheet.table == "patients" else (sheet.table,)


def _grouped(sheet: _Sheet) -> Iterator[str]:
    for group in sheet.wide:
        for heading in group.headings:
            yield from (heading.replace("{n}", str(number)) for number in group.numbers)


def _is_rest(sheet: _Sheet, heading: str) -> bool:
    return any(heading == beyond(list(sheet.columns), group.prefix) for group in sheet.wide)


def _found(sheet: _Sheet, table: str, used: set[str]) -> dict[str, str]:
    """Heading → target, each target once; a target that is a date only where the cells are dates."""
    found: dict[str, str] = {}
    for heading, column in sheet.columns.items():
        target = target_of(heading, table)
        dated = bool(target) and is_date(table, target)
        if target and heading not in used and target not in found.values() and (
            not dated or looks_dated(column, sheet.below)
        ):  # fmt: skip
            found[heading] = target
    used |= set(found)
    return found


def _rows(sheet: _Sheet, table: str, found: dict[str, str], *, commented: bool = False) -> Iterator[str]:
    mark = "# " if commented else ""
    yield f"{mark}[[sheet.rows]]"
    yield f"{mark}table = {_text(table)}  {GUESS}from the name of the sheet"
    if table == "stents":
        yield f'{mark}constants = {{ stent_type = "lumen_apposing" }}  {GUESS}the kind of stent is not written'
    yield f"{mark}[sheet.rows.columns]"
    for heading, target in found.items():
        yield f"{mark}{_text(heading)} = {_target(heading, target)}  {GUESS}from the heading"
    yield ""


def _target(heading: str, target: str) -> str:
    unit = unit_in(heading)
    if unit and target in ("size", "yield", "volume_ml", "minutes_total"):
        return f"{{ to = {_text(target)}, unit = {_text(unit)} }}"
    if target == "operator":
        return '{ to = "operator", pseudonyms = true }'
    return _text(target)


def _wide(sheet: _Sheet, group: Group) -> Iterator[str]:
    found = {}
    for heading in group.headings:
        target = target_of(heading.replace("{n}", ""), "sessions")
        if target and target not in found.values():
            found[heading] = target
    if "day" not in found.values():
        yield f"# not guessed: the numbered headings {', '.join(_text(each) for each in group.headings)}\n"
        return
    yield "[[sheet.rows]]"
    yield f'table = "sessions"  {GUESS}from the numbered headings'
    yield f"numbers = {list(group.numbers)}"
    yield f'constants = {{ session_type = "necrosectomy" }}  {GUESS}if each of them is one'
    yield "[sheet.rows.columns]"
    for heading, target in found.items():
        yield f"{_text(heading)} = {_target(heading, target)}  {GUESS}from the heading"
    if rest := beyond(list(sheet.columns), group.prefix):
        yield f"[sheet.rows.overflow]\ncolumn = {_text(rest)}  {GUESS}from the heading"
        yield f'between = ";"  {GUESS}what stands between sessions'
        yield f"parts = {_list(found)}  {GUESS}their parts in order"
        yield f'between_parts = "|"  {GUESS}what stands between the parts of one session'
    yield ""


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _list(texts) -> str:
    return f"[{', '.join(map(_text, texts))}]"
