"""What is to be said of an export as a whole, and the count that every cell and row of it is accounted for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.registry.export.cells import Grid, Reading
from necrostats.registry.export.heading_guesses import asks_the_opposite
from necrostats.registry.export.layout import Layout
from necrostats.registry.export.left_over import left_over
from necrostats.registry.export.log_rows import mentioned
from necrostats.registry.export.mapped_sheets import Laid, LaidColumn, LaidSheet
from necrostats.registry.export.patients import ORPHAN, People, RowsAside
from necrostats.registry.export.private import Withheld
from necrostats.registry.export.reshaping import Material
from necrostats.registry.findings import NO_RECORD, OF_NO_KIND, findings_frame
from necrostats.registry.privacy import KINDS, Suspicion, accepting
from necrostats.registry.reading import count

_MOST_ROWS = 12
_YES = ("yes", "ja", "oui", "si", "y", "j", "o", "s", "1", "x")


def about_export(laid: Laid, aside: tuple[RowsAside, ...]) -> list[pd.DataFrame]:
    """One finding for each, in the order of the sheets."""
    found = [*_inert(laid.layout), *_strangers(laid), *_beside(laid), *_files(laid)]
    for sheet in laid.sheets:
        found += [*_columns(sheet), *_kinds(sheet), *_turned_round(sheet), *_marks(sheet, laid)]
    found += _not_in_every_sheet(laid)
    return [*found, *(_row(each) for each in aside)]


def about_withheld(withheld: Sequence[Withheld]) -> Iterator[pd.DataFrame]:
    """One finding for each column with cells that look like a name."""
    for each in withheld:
        rows = ", ".join(map(str, each.rows[:_MOST_ROWS])) + (" …" if len(each.rows) > _MOST_ROWS else "")
        cells = count(len(each.rows), "cell looks", "cells look")
        yield _about(
            each.grid,
            "stops",
            "MAY_BE_A_NAME",
            f"{cells} like a name and {'was' if len(each.rows) == 1 else 'were'} withheld: row {rows}",
            f"If a person has looked and nobody is named there: --accept {accepting(each.release)}, or in the layout "
            f"accept = [{accepting(each.release)}]. Words of your own can also be explained there, under [synonyms].",
            column=each.heading,
        )


def about_unread(unread: Sequence[Suspicion]) -> Iterator[pd.DataFrame]:
    """One finding for each column, or row of it, that looks like holding identity and that the layout leaves out."""
    places: dict[tuple[str, str, int | None, str], dict[str, None]] = {}
    for each in unread:
        places.setdefault((each.file, each.sheet, each.row, each.column), {})[KINDS[each.kind]] = None
    for (file, sheet, row, column), kinds in places.items():
        yield findings_frame(
            row=[pd.NA if row is None else row],
            severity="notes",
            scope="table" if row is None else "row",
            rule="IDENTITY_NOT_READ",
            file=file,
            sheet=sheet,
            column=column,
            problem=f"may hold {', '.join(kinds)}; the layout leaves it out, so nothing of it was read or written",
            remedy="Nothing to do here. Take it out of any copy of the export that leaves the unit.",
        )


def not_mapped(found: pd.DataFrame, name: str) -> pd.DataFrame:
    """A finding about missing tables and columns, in the words of somebody who has an export and a layout."""
    out = found.assign(file=name)
    remedies = {
        "COLUMN_MISSING": "Map a column to it in the layout, give it as a constant, or fill it under [fill].",
        "TABLE_MISSING": "Add [[sheet.rows]] for it to the layout, if the export holds it.",
    }
    return out.assign(remedy=[remedies.get(rule, said) for rule, said in zip(out["rule"], out["remedy"], strict=True)])


def _about(grid: Grid, severity: str, rule: str, problem: str, remedy: str, **place: object) -> pd.DataFrame:
    return findings_frame(
        row=[pd.NA],
        severity=severity,
        scope="table",
        rule=rule,
        file=grid.file,
        sheet=grid.sheet,
        problem=problem,
        remedy=remedy,
        **place,
    )


def _inert(layout: Layout) -> Iterator[pd.DataFrame]:
    """Lines of the layout that do nothing."""
    for place, problem in layout.inert:
        yield findings_frame(
            row=[pd.NA],
            severity="asks",
            scope="table",
            rule="NO_EFFECT",
            file=layout.name,
            column=place,
            problem=problem,
            remedy="Take it away, or list the words beside the column that they are for: codes = { … }.",
        )


def _strangers(laid: Laid) -> Iterator[pd.DataFrame]:
    for grid in laid.strangers:
        hidden = "hidden, and " if grid.hidden else ""
        yield _about(
            grid,
            "asks",
            "SHEET_NOT_MENTIONED",
            f"the sheet is {hidden}not mentioned in the layout; it was not read",
            "Add it to the layout, or name it in ignore_sheets.",
        )


def _beside(laid: Laid) -> Iterator[pd.DataFrame]:
    """Cells of a sheet that is read in parts, and that stand in none of them."""
    for left in left_over(laid):
        if left.places:
            cells = count(len(left.places), "cell stands", "cells stand")
            places = ", ".join(left.places[:_MOST_ROWS]) + (" …" if len(left.places) > _MOST_ROWS else "")
            yield _about(
                left.grid,
                "asks",
                "CELLS_NOT_MENTIONED",
                f"{cells} in no form or block that the layout reads: {places}",
                "Add a [[sheet]] for them, or end the block above them with `ends`.",
            )


def _files(laid: Laid) -> Iterator[pd.DataFrame]:
    for name in laid.export.unread:
        yield findings_frame(
            row=[pd.NA],
            severity="asks",
            scope="table",
            rule="FILE_NOT_READ",
            file=name,
            problem="is neither a workbook nor a csv file, and was not read",
            remedy="Take it out of the folder.",
        )


def not_mentioned(sheet: LaidSheet) -> list[LaidColumn]:
    """The columns of a sheet with something in them that the layout neither maps nor ignores."""
    named = mentioned(sheet) if not sheet.left else sheet.columns
    return [column for key, column in sheet.columns.items() if key not in named and unread(sheet, key).any()]


def unread(sheet: LaidSheet, key: str) -> np.ndarray:
    """Filled cells (N,) of a column that no other [[sheet]] of the same log reads."""
    return sheet.columns[key].raw.filled() & ~sheet.elsewhere.get(key, np.zeros(len(sheet), dtype=bool))


def _columns(sheet: LaidSheet) -> Iterator[pd.DataFrame]:
    keys = {id(column): key for key, column in sheet.columns.items()}
    for column in not_mentioned(sheet):
        hidden = "hidden, and " if column.raw.hidden else ""
        filled = int(unread(sheet, keys[id(column)]).sum())
        cells = count(filled, "cell was", "cells were")
        yield _about(
            sheet.grid,
            "asks",
            "COLUMN_NOT_MENTIONED",
            f"the column is {hidden}not mentioned in the layout; its {cells} not read",
            "Map it, or name it under ignore.",
            column=column.heading,
        )


def _kinds(sheet: LaidSheet) -> Iterator[pd.DataFrame]:
    """Kinds of row that the layout names and the log does not have."""
    for heading, word in sheet.absent:
        yield _about(
            sheet.grid,
            "notes",
            "NO_SUCH_KIND",
            "is a kind of row that `where` names, and no row says so",
            "Nothing to do if that is right.",
            column=heading,
            value=word,
        )


def _not_in_every_sheet(laid: Laid) -> Iterator[pd.DataFrame]:
    """A heading that some sheets of one form have and others have not."""
    lacking: dict[str, list[LaidSheet]] = {}
    for sheet in laid.sheets:
        for heading in sheet.lacking:
            lacking.setdefault(heading, []).append(sheet)
    for heading, sheets in lacking.items():
        names = ", ".join(sheet.grid.name for sheet in sheets[:_MOST_ROWS]) + (" …" if len(sheets) > _MOST_ROWS else "")
        yield _about(
            sheets[0].grid,
            "notes",
            "HEADING_MISSING",
            f"is no heading of {count(len(sheets), 'sheet', 'sheets')} of this form: {names}; nothing is known there",
            'Nothing to do if that is right. If it is headed otherwise there, write both: "Age | Age (years)".',
            column=heading,
        )


def _turned_round(sheet: LaidSheet) -> Iterator[pd.DataFrame]:
    """A column of symptoms that is read as "free of symptoms": yes may mean the opposite of what is read."""
    columns = [column for rows in sheet.layout.rows for _, each in rows.each_number() for column in each]
    for column in columns:
        said = {column.codes.get(word) for word in _YES}
        if column.to == "symptom_free" and asks_the_opposite(column.heading) and "no" not in said:
            yield _about(
                sheet.grid,
                "asks",
                "SYMPTOMS_OR_FREE",
                "is read as symptom_free: a yes there means free of symptoms",
                'If it means symptoms, write { to = "symptom_free", codes = { "yes" = "no", "no" = "yes" } } with the '
                "words of the cells.",
                column=column.heading,
            )


def _marks(sheet: LaidSheet, laid: Laid) -> Iterator[pd.DataFrame]:
    parts = [each for each in laid.sheets if (each.grid.file, each.grid.sheet) == (sheet.grid.file, sheet.grid.sheet)]
    if parts[0] is not sheet:
        return
    hidden = {row for part in parts for row in _rows_read(part)} & sheet.grid.hidden_rows
    rows = count(len(hidden), "hidden row was", "hidden rows were")
    said = {
        "HIDDEN_ROWS": f"{rows} read like any other" if hidden else "",
        "HIDDEN_SHEET": "the sheet is hidden; it was read, as the layout names it" if sheet.grid.hidden else "",
        "COMMENTS": _comments(sheet.grid),
        "ENCODING": "the file is not UTF-8 and was read as Windows text (cp1252)"
        if sheet.grid.encoding == "cp1252"
        else "",
    }
    for rule, problem in said.items():
        if problem:
            yield _about(sheet.grid, "notes", rule, problem, "Nothing to do, unless they matter.")


def _rows_read(sheet: LaidSheet) -> Iterator[int]:
    """The spreadsheet's rows that a part of a sheet reads; of a form those of its labels."""
    if sheet.layout.labels:
        yield from (column.raw.row for column in sheet.columns.values())
    else:
        yield from sheet.rows.tolist()


def _comments(grid: Grid) -> str:
    if not grid.comments:
        return ""
    places = ", ".join(comment.place for comment in grid.comments[:20])
    more = f" and {len(grid.comments) - 20} more" if len(grid.comments) > 20 else ""
    return f"the comments on these cells were not read: {places}{more}"


def _row(aside: RowsAside) -> pd.DataFrame:
    grid = aside.sheet.grid
    if aside.together:
        place = {"column": aside.heading, "value": aside.value}
        return _about(grid, aside.severity, aside.rule, aside.problem, aside.remedy, **place)
    return findings_frame(
        row=aside.sheet.rows_shown(aside.at),
        severity=aside.severity,
        scope="row",
        rule=aside.rule,
        table=aside.sheet.layout.rows[0].table,
        file=grid.file,
        sheet=grid.sheet,
        column=aside.heading,
        problem=aside.problem,
        remedy=aside.remedy,
    )


def listed_aside(aside: tuple[RowsAside, ...], people: People) -> Iterator[pd.DataFrame]:
    """The rows set aside early, in the form of a registry's list: one line for each table a row would have been in, or
    for the patient alone, with whom all the rest is gone."""
    for each in aside:
        tables = dict.fromkeys(rows.table for rows in each.sheet.layout.rows)
        for table in ("patients",) if "patients" in tables else tables:
            yield pd.DataFrame(
                {
                    "table": table,
                    "file": each.sheet.grid.file,
                    "sheet": each.sheet.grid.sheet,
                    "row": each.sheet.rows_shown(each.at),
                    "scope": "row",
                    "column": "",
                    "patient_id": _owners(each, people),
                    "rule": each.rule,
                }
            )


def _owners(aside: RowsAside, people: People) -> np.ndarray:
    """The study code of the patient each row is about; None for a row that is no record, or nobody's who is listed."""
    ids = np.array([*people.ids, None], dtype=object)
    known = aside.rule not in (NO_RECORD, OF_NO_KIND, ORPHAN)
    return ids[people.of[aside.sheet.number][aside.at]] if known else np.full(len(aside.at), None, dtype=object)


_FATES = NOTHING, NOT_MENTIONED, IGNORED, UNTOLD, UNKNOWN, VALUE, SET_ASIDE = range(7)


@dataclass(frozen=True, kw_only=True)
class Counts:
    """Cells with anything in them, below the headings, and rows with such a cell."""

    cells: int
    interpreted: int
    unknown: int
    cells_set_aside: int
    ignored: int
    not_mentioned: int
    rows: int
    rows_made: int
    rows_set_aside: int

    @property
    def complete(self) -> bool:
        """Whether what became of them adds up to what there was."""
        told = self.interpreted + self.unknown + self.cells_set_aside + self.ignored + self.not_mentioned
        return self.cells == told and self.rows == self.rows_made + self.rows_set_aside

    def status(self, aside: int, reasons: int) -> str:
        """The line that comes first: how much was read, and how many rows were set aside for so many reasons."""
        meant = self.cells - self.ignored - self.not_mentioned
        share = 100 * (self.interpreted + self.unknown) / meant if meant else 0.0
        shown = f"{share:.0f}" if share >= 99.5 or share < 99 else f"{share:.1f}"
        gone = f"{aside:,} {'row' if aside == 1 else 'rows'} set aside"
        why = f" for {reasons} {'reason' if reasons == 1 else 'reasons'}" if aside else ""
        return f"{shown} % of the mapped cells read; {gone}{why}."

    def __str__(self) -> str:
        return (
            f"cells {self.cells:,} = interpreted {self.interpreted:,} + unknown {self.unknown:,} + set aside "
            f"{self.cells_set_aside:,} + ignored by the layout {self.ignored:,} + not mentioned "
            f"{self.not_mentioned:,}\n"
            f"rows {self.rows:,} = made into tables {self.rows_made:,} + set aside {self.rows_set_aside:,}"
        )


def counts_of(material: Material) -> Counts:
    """What became of every cell and row of the export; sheets that were not read are counted too."""
    became = np.zeros(len(_FATES), dtype=np.int64)
    became[IGNORED] = sum(map(_cells, material.laid.ignored))
    became[NOT_MENTIONED] = sum(map(_cells, material.laid.strangers))
    for left in left_over(material.laid):
        became[IGNORED] += left.below
        became[NOT_MENTIONED] += len(left.places)
    rows, aside = 0, 0
    for sheets in _counted_together(material.laid.sheets):
        fates = [_fates(material, sheet) for sheet in sheets]
        made = np.logical_or.reduce([_spread(sheets, sheet, ~_gone(material, sheet)) for sheet in sheets])
        rows, aside = rows + len(made), aside + int((~made).sum())
        for column in {column for each in fates for column in each}:
            own = [(sheet, each[column]) for sheet, each in zip(sheets, fates, strict=True) if column in each]
            last = np.maximum.reduce([_spread(sheets, sheet, fate) for sheet, fate in own])
            became += np.bincount(last, minlength=len(_FATES))
    return Counts(
        cells=int(became[NOT_MENTIONED:].sum()),
        interpreted=int(became[VALUE]),
        unknown=int(became[UNKNOWN]),
        cells_set_aside=int(became[SET_ASIDE]),
        ignored=int(became[IGNORED]),
        not_mentioned=int(became[NOT_MENTIONED]),
        rows=rows,
        rows_made=rows - aside,
        rows_set_aside=aside,
    )


def _counted_together(sheets: Sequence[LaidSheet]) -> list[list[LaidSheet]]:
    """The parts of each log, whose rows may be read twice, and every other sheet by itself."""
    found: dict[tuple[int, int], list[LaidSheet]] = {}
    for sheet in sheets:
        found.setdefault((sheet.log, 0 if sheet.log else sheet.number), []).append(sheet)
    return list(found.values())


def _spread(sheets: Sequence[LaidSheet], sheet: LaidSheet, told: np.ndarray) -> np.ndarray:
    """What is told of the rows of one part of a log, among the rows of all its parts; 0 for the others."""
    if len(sheets) == 1:
        return told
    every = np.unique(np.concatenate([each.rows for each in sheets]))
    found = np.zeros(len(every), dtype=told.dtype)
    found[np.searchsorted(every, sheet.rows)] = told
    return found


def _fates(material: Material, sheet: LaidSheet) -> dict[tuple[int, int], np.ndarray]:
    """For each column, by its number, what became (N,) of its cells; 0 where there is nothing in them."""
    gone = _gone(material, sheet)
    became, mapped = _became(material, sheet, gone), mentioned(sheet)
    ignored = {sheet.key(heading) for heading in sheet.layout.ignore}
    fates = {}
    for key, column in sheet.columns.items():
        default = SET_ASIDE if sheet.left else UNTOLD if key in mapped else NOT_MENTIONED
        default = IGNORED if key in ignored else default
        fate = became.get(key, np.full(len(sheet), default, dtype=np.int8))
        fates[column.raw.number, column.raw.row] = np.where(column.raw.filled(), fate, NOTHING).astype(np.int8)
    return fates


def _cells(grid: Grid) -> int:
    return sum(int(column.filled().sum()) for column in grid.columns)


def _gone(material: Material, sheet: LaidSheet) -> np.ndarray:
    gone = np.zeros(len(sheet), dtype=bool)
    for each in material.aside:
        if each.sheet is sheet:
            gone[each.at] = True
    return gone


def _became(material: Material, sheet: LaidSheet, gone: np.ndarray) -> dict[str, np.ndarray]:
    """For each column that is mapped or a key, what became (N,) of its cells."""
    keys = {id(column): key for key, column in sheet.columns.items()}
    said = (*sheet.layout.keys, *(() if sheet.left else sheet.layout.telling))
    became = {sheet.key(heading): np.full(len(sheet), VALUE, dtype=np.int8) for heading in said}
    for block in material.blocks:
        for part in block.parts if block.sheet is sheet else ():
            codes = np.array([_code(each) for each in part.readings], dtype=np.int8)
            own = became.setdefault(keys[id(part.column)], np.full(len(sheet), UNTOLD, dtype=np.int8))
            np.maximum.at(own, block.at, codes[part.which])
    for key, column in sheet.columns.items():
        if key in became:
            untold = (became[key] == UNTOLD) & column.raw.filled()
            became[key][untold] = UNKNOWN if _in_overflow(sheet, key) else UNTOLD
            became[key][gone] = SET_ASIDE
    return became


def _code(reading: Reading) -> int:
    return SET_ASIDE if reading.problem else VALUE if reading.says_something else UNKNOWN


def _in_overflow(sheet: LaidSheet, key: str) -> bool:
    """An overflow cell that holds no further session is unknown, and makes no row that could say so."""
    return any(rows.overflow and sheet.key(rows.overflow.column) == key for rows in sheet.layout.rows)
