"""The ledger: for every cell that was interpreted its place, its text, what it became and by which rule."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from necrostats.registry.codebook import LATEST, TABLES
from necrostats.registry.export.blocks import Block, Part
from necrostats.registry.export.drafting import taken_cells
from necrostats.registry.export.early import RowsAside
from necrostats.registry.export.filling import cell_texts
from necrostats.registry.export.laying import LaidSheet
from necrostats.registry.export.loading import ReadExport
from necrostats.registry.export.made import NOWHERE, Made, Origin
from necrostats.registry.export.names import letters_of
from necrostats.registry.export.readings import PRIVATE, Reading
from necrostats.registry.export.relocating import best_origin
from necrostats.registry.export.withholding import WITHHELD

COLUMNS = (
    "file", "sheet", "row", "cell", "column", "written", "outcome", "table", "id", "field", "value", "rule",
)  # fmt: skip
VALUE, UNKNOWN, SET_ASIDE = "value", "unknown", "set aside"
_ORDER = ["_sheet", "row", "_letters", "table", "field"]


def ledger_of(read: ReadExport) -> pd.DataFrame:
    """One line for each value that a cell gave; a cell that gave none has one line that says why. In sheet order.

    Dates, and the cells that say who a row is about, are withheld.
    """
    made = [line for name in TABLES for line in _values(read, name)]
    told = pd.concat(made, ignore_index=True) if made else _lines(np.empty(0), np.empty(0))
    cells = _cell(told["column_number"].to_numpy(dtype=np.int64), told["at"].to_numpy(dtype=np.int64))
    rest = [each for block in read.reshaped.blocks for part in block.parts for each in _rest(read, block, part, cells)]
    others = pd.concat([told.head(0), *rest], ignore_index=True).drop_duplicates(["column_number", "at", "field"])
    return _placed(read, pd.concat([told, others, *_keys(read)], ignore_index=True))


def _cell(column: np.ndarray, at: np.ndarray) -> np.ndarray:
    """One number for each cell."""
    return column * (1 << 21) + at


def _lines(column: np.ndarray, at: np.ndarray, **told: object) -> pd.DataFrame:
    given = {"outcome": VALUE, "table": "", "id": "", "field": "", "value": "", "rule": "", "written": "", **told}
    return pd.DataFrame({"column_number": column, "at": at, **given}, index=np.arange(len(column)))


def _values(read: ReadExport, name: str) -> Iterator[pd.DataFrame]:
    made = read.reshaped.making.tables[name]
    table = read.draft[name]
    gone = table.gone if table.given else np.zeros(len(made), dtype=bool)
    ids = made.text(TABLES[name].key or ("patient_id" if "patient_id" in TABLES[name].names else "session_id"))
    for column in made.texts:
        origin = best_origin(made, column)
        written = cell_texts(read.reshaped.making, origin) != ""
        rows = np.flatnonzero(written & (made.text(column) != ""))
        if column not in {each.name for each in TABLES[name].all_columns} or not len(rows):
            continue
        aside = gone.copy()
        for taken, at in taken_cells(read.draft, name):
            if taken == column:
                aside[at] = True
        yield _lines(
            origin.column[rows], origin.at[rows], outcome=np.where(aside[rows], SET_ASIDE, VALUE), table=name,
            id=ids[rows], field=column, value=_shown(read, made, column, rows), rule=origin.rule[rows],
            written=read.places.values(origin.take(rows)),
        )  # fmt: skip


def _shown(read: ReadExport, made: Made, column: str, rows: np.ndarray) -> np.ndarray:
    """The values of a column as the tidy form has them; ages over 90 as 90."""
    texts = made.text(column)[rows]
    table = read.draft[made.table.name]
    if column == "age_years" and table.given:
        kept = table.numbers(column)[rows]
        return np.array([f"{age:g}" if age == age else "" for age in kept], dtype=object)
    return texts


def _rest(read: ReadExport, block: Block, part: Part, cells: np.ndarray) -> Iterator[pd.DataFrame]:
    """The cells of a part that gave no value of their own: unknown, set aside, or the same as another cell."""
    making = read.reshaped.making
    number = [id(column) for column in making.columns].index(id(part.column))
    filled = part.column.raw.filled()[block.at]
    told = np.isin(_cell(np.full(len(block.at), number), block.at), cells)
    rows = np.flatnonzero(filled & ~told & ~_gone(read.reshaped.aside, block.sheet)[block.at])
    if not len(rows):
        return
    readings = [part.readings[which] for which in part.which[rows]]
    withheld = np.array([each.withheld for each in readings], dtype=np.int8)
    rule = np.array([each.rule for each in readings], dtype=object)
    origin = Origin(column=np.full(len(rows), number), at=block.at[rows], rule=rule, withheld=withheld)
    lost = lost_patients(read)[read.reshaped.people.of[block.sheet.number][block.at[rows]]]
    outcome = [
        SET_ASIDE if each.problem or (gone and each.says_something) else VALUE if each.says_something else UNKNOWN
        for each, gone in zip(readings, lost, strict=True)
    ]
    person = read.reshaped.people.of[block.sheet.number][block.at[rows]]
    days = np.append(read.reshaped.day_0, np.nan)[person]
    told = [_said(each, part.layout.to, start) for each, start in zip(readings, days, strict=True)]
    which = np.repeat(np.arange(len(rows)), [len(each) for each in told])
    flat = [each for cell in told for each in cell]
    yield _lines(
        origin.column[which], origin.at[which], outcome=np.array(outcome, dtype=object)[which], table=block.rows.table,
        field=[field for field, _ in flat], value=[value for _, value in flat], rule=rule[which],
        written=read.places.values(origin)[which],
    )  # fmt: skip


def _said(reading: Reading, target: str, start: float) -> list[tuple[str, str]]:
    """What a cell says that another cell says too: (field, value); one line without a value if it gives none."""
    if reading.date is not None and reading.date.known and start == start:
        first, last = (f"{day.toordinal() - start:.0f}" for day in (reading.date.first, reading.date.last))
        return [(target, first), *([(target + LATEST, last)] if last != first else [])]
    return list(reading.fills.items()) or [(target, "")]


def lost_patients(read: ReadExport) -> np.ndarray:
    """Which patients (P + 1,) were set aside, or have no row of their own; the last stands for nobody."""
    lost = np.ones(len(read.reshaped.making.ids) + 1, dtype=bool)
    lost[read.reshaped.making.tables["patients"].person[read.draft["patients"].kept]] = False
    return lost


def _gone(aside: tuple[RowsAside, ...], sheet: LaidSheet) -> np.ndarray:
    gone = np.zeros(len(sheet), dtype=bool)
    for each in aside:
        if each.sheet is sheet:
            gone[each.at] = True
    return gone


def _keys(read: ReadExport) -> Iterator[pd.DataFrame]:
    """The cells that say who a row is about, and the rows set aside whole."""
    ids = np.array([*read.reshaped.making.ids, ""], dtype=object)
    for sheet, person in zip(read.laid.sheets, read.reshaped.people.of, strict=True):
        gone = _gone(read.reshaped.aside, sheet)
        for heading in sheet.layout.patient:
            column = sheet.column(heading)
            rows = np.flatnonzero(column.raw.filled() & ~gone)
            yield _lines(
                np.full(len(rows), -2 - sheet.number), rows, table="patients", id=ids[person[rows]],
                field="patient_id", value=ids[person[rows]], rule="key", written=WITHHELD,
            ).assign(column_name=column.heading, letters=column.raw.number)  # fmt: skip
        for each in (one for one in read.reshaped.aside if one.sheet is sheet):
            yield _lines(
                np.full(len(each.at), -2 - sheet.number), each.at, outcome=SET_ASIDE, rule=each.rule,
                table=sheet.layout.rows[0].table,
            ).assign(column_name="", letters=0)  # fmt: skip


def _placed(read: ReadExport, lines: pd.DataFrame) -> pd.DataFrame:
    """The lines with the places of their cells, in the order of the export."""
    columns = read.reshaped.making.columns
    number = lines["column_number"].to_numpy(dtype=np.int64)
    mapped = number >= 0
    own = number.clip(-1)
    sheet = np.where(mapped, np.array([*(column.sheet for column in columns), 0])[own], -2 - number)
    heading = np.array([*(column.heading for column in columns), ""], dtype=object)[own]
    letters = np.array([*(column.raw.number for column in columns), 0])[own]
    if "column_name" in lines:
        heading = np.where(mapped, heading, lines["column_name"])
        letters = np.where(mapped, letters, lines["letters"].fillna(0)).astype(np.int64)
    at, rows = lines["at"].to_numpy(dtype=np.int64), np.zeros(len(lines), dtype=np.int64)
    files, titles = (np.full(len(lines), "", dtype=object) for _ in range(2))
    for each in read.laid.sheets:
        here = sheet == each.number
        rows[here], files[here], titles[here] = each.rows[at[here]], each.grid.file, each.grid.sheet
    cell = np.array([f"{letters_of(a)}{b}" if a else "" for a, b in zip(letters, rows, strict=True)], dtype=object)
    placed = lines.assign(file=files, sheet=titles, row=rows, cell=cell, column=heading, _sheet=sheet, _letters=letters)
    return placed.sort_values(_ORDER, kind="stable")[list(COLUMNS)].reset_index(drop=True)


def private_texts(read: ReadExport) -> set[str]:
    """Every cell that must be shown nowhere: for tests, and for a last look before something is written."""
    found: set[str] = set()
    for made in read.reshaped.making.tables.values():
        for origin in made.origins.values():
            rows = np.flatnonzero((origin.column != NOWHERE) & (origin.withheld == PRIVATE))
            found |= set(cell_texts(read.reshaped.making, origin.take(rows)))
    return found - {""}
