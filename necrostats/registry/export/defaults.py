"""What the layout says of cells that nobody wrote, and the two things that follow without a word from it."""

from __future__ import annotations

import numpy as np

from necrostats.registry.codebook import TABLES
from necrostats.registry.export.cells import RawColumn
from necrostats.registry.export.layout import Layout
from necrostats.registry.export.layout_reading import DATA_LOCK, LAST_RECORD
from necrostats.registry.export.table_drafts import NOWHERE, Made, Making, Origin
from necrostats.registry.export.texts import Texts
from necrostats.registry.source_table import objects

_CONTACT = ("patients", "last_contact_day")


def filled(making: Making, layout: Layout) -> Making:
    """The tables with their empty cells filled: only where no cell was written at all."""
    patients = _dead(making)
    making = making.with_tables(patients=patients)
    for (table, column), value in layout.fill.items():
        made = making.tables[table]
        rows = _unwritten(making, made, column)
        if (table, column) == ("patients", "vital_status"):
            rows = rows[~_written(making, made, "death_day")[rows] | made.text("death_day").filled[rows]]
        if (table, column) == _CONTACT and value in (LAST_RECORD, DATA_LOCK):
            texts = _last_record(making) if value == LAST_RECORD else made.text("observed_days")
            value = texts.take(rows)
        making = making.with_tables(**{table: made.with_text(column, rows, value)})
    return making


def _written(making: Making, made: Made, column: str) -> np.ndarray:
    """Rows (N,) for which somebody wrote something in the cell of a column."""
    origin = made.origin(column)
    found = np.zeros(len(made), dtype=bool)
    for number in np.unique(origin.column[origin.column != NOWHERE]):
        rows = np.flatnonzero(origin.column == number)
        found[rows] = making.columns[number].raw.filled()[origin.at[rows]]
    return found


def cell_texts(making: Making, origin: Origin) -> np.ndarray:
    """The cells as written (N,), blank where there is none; a formula without a result reads as "="."""
    texts = np.full(len(origin.column), "", dtype=object)
    for number in np.unique(origin.column[origin.column != NOWHERE]):
        rows = np.flatnonzero(origin.column == number)
        raw = making.columns[number].raw
        texts[rows] = written_in(raw)[raw.which[origin.at[rows]]]
    return texts


def written_in(raw: RawColumn) -> np.ndarray:
    """The different cells (U,) of a column as written; a formula without a result reads as "="."""
    return objects(cell.text.strip() or "=" * cell.no_result for cell in raw.cells)


def _unwritten(making: Making, made: Made, column: str) -> np.ndarray:
    return np.flatnonzero(~made.text(column).filled & ~_written(making, made, column))


def _dead(making: Making) -> Made:
    """A patient with a day of death is dead, and was last seen on it, where no cell says otherwise."""
    patients = making.tables["patients"]
    for column, value in (("vital_status", None), ("last_contact_day", "death_day")):
        rows = _unwritten(making, patients, column)
        rows = rows[patients.text("death_day").filled[rows]]
        if len(rows):
            patients = patients.with_text(column, rows, patients.text(value).take(rows) if value else "dead")
    if len(rows) and patients.text("death_day_latest").filled.any():
        patients = patients.with_text("last_contact_day_latest", rows, patients.text("death_day_latest").take(rows))
    return patients


def _last_record(making: Making) -> Texts:
    """For each row of patients, the last day on which anything of the patient is recorded; at least day 0."""
    patients = making.tables["patients"]
    last = np.zeros(max((made.person.max(initial=-1) for made in making.tables.values()), default=-1) + 1)
    for name, made in making.tables.items():
        for column in TABLES[name].columns:
            if column.kind == "day" and name != "patients" and column.name in made.texts:
                days = _numbers(made.text(column.name))
                known = ~np.isnan(days) & (made.person >= 0)
                np.maximum.at(last, made.person[known], days[known])
    observed = _numbers(patients.text("observed_days"))
    until = np.fmin(last[patients.person], observed)
    return Texts.of([str(int(day)) for day in until])


def _numbers(texts: Texts) -> np.ndarray:
    return np.array([_number(text) for text in texts.different], dtype=float)[texts.which]


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return np.nan
