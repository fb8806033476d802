"""Tables on their way to a registry: cells, findings, what rules take from them, and the tables they end as."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from necrostats.registry.codebook import TABLES, Column, Table
from necrostats.registry.columns import LATEST
from necrostats.registry.findings import findings_frame
from necrostats.registry.reading import RawSource
from necrostats.registry.source_table import RawTable
from necrostats.registry.tables import SET_ASIDE_COLUMNS, Source, dtype_of, nothing_set_aside

TOGETHER = (("yield_low", "yield_high"),)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Cells:
    """A typed column: `values` (U,), the blank first; `which` (N,) says which of them a row holds.

    An id stands among the values once.
    """

    values: np.ndarray
    which: np.ndarray

    def taken(self) -> np.ndarray:
        """The values, one a row."""
        return self.values[self.which]

    def without(self, rows: np.ndarray) -> Cells:
        """The column with some cells made blank."""
        which = np.array(self.which)
        which[rows] = 0
        return replace(self, which=which)

    def with_value(self, rows: np.ndarray, value: float | str) -> Cells:
        """The column with one value written into some cells."""
        which = np.array(self.which, dtype=np.int32)
        which[rows] = len(self.values)
        return replace(self, values=np.append(self.values, value), which=which)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class DraftTable:
    """One table in the making. `gone` (N,) marks the rows set aside. An absent table has no `raw`."""

    table: Table
    cells: Mapping[str, Cells]
    gone: np.ndarray
    raw: RawTable | None = None

    def __len__(self) -> int:
        return len(self.gone)

    @property
    def given(self) -> bool:
        """Whether the source holds this table at all."""
        return self.raw is not None

    @property
    def kept(self) -> np.ndarray:
        """Rows (N,) not set aside."""
        return ~self.gone

    def numbers(self, column: str) -> np.ndarray:
        """Numbers, days or yes (1.0) and no (0.0) as float (N,), NaN where unknown."""
        return self.cells[column].taken()

    def yes(self, column: str) -> np.ndarray:
        """Where (N,) a yes/no column says yes."""
        return self.numbers(column) == 1.0

    def texts(self, column: str) -> np.ndarray:
        """Codes, ids, periods or texts as object (N,), None where unknown."""
        return self.cells[column].taken()

    def holds(self, column: str, codes: Iterable[str]) -> np.ndarray:
        """Where (N,) a code column holds one of some codes."""
        cells = self.cells[column]
        return np.isin(cells.values, list(codes))[cells.which]

    def known(self, column: str) -> np.ndarray:
        """Where (N,) a cell holds a value."""
        return self.cells[column].which != 0

    def latest(self, column: str) -> np.ndarray:
        """The last day (N,) a day can be: the partner where there is one, else the day itself."""
        partner = self.numbers(column + LATEST)
        return np.where(np.isnan(partner), self.numbers(column), partner)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Flag:
    """A rule that rows `at` of a table break, where it shows (`column`), and what it takes away.

    `takes`: "" nothing, "cell" the cells (and the row, where the table cannot do without them), "row", "patient"
    the patients of the rows with all that is theirs. `problem` and `value` may be one text or one a row;
    `value` None means the cell as written. `once` makes one finding of all the rows.
    """

    rule: str
    table: str
    at: np.ndarray
    severity: str
    column: str = ""
    takes: str = ""
    problem: str | np.ndarray = ""
    remedy: str = ""
    value: str | np.ndarray | None = None
    once: bool = False


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Taken:
    """Rows of a table, or cells in them, that a rule set aside."""

    rule: str
    table: str
    at: np.ndarray
    scope: str
    column: str = ""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Draft:
    """Nine draft tables, the findings so far and what was set aside.

    `parents` maps (table, column) to the row in the parent table of each value of an id column: -1 for blank and
    for an id that no parent has.
    """

    tables: Mapping[str, DraftTable]
    findings: tuple[pd.DataFrame, ...] = ()
    taken: tuple[Taken, ...] = ()
    parents: Mapping[tuple[str, str], np.ndarray] = field(default_factory=dict)

    def __getitem__(self, table: str) -> DraftTable:
        return self.tables[table]

    def link(self, table: str, column: str = "patient_id") -> np.ndarray:
        """The row number (N,) in the parent table that each row of `table` refers to; -1 where it names none."""
        if column == self[table].table.key:
            return np.arange(len(self[table]))
        return self.parents[table, column][self[table].cells[column].which]

    def patients_of(self, table: str) -> np.ndarray:
        """The row number (N,) in patients that each row of `table` belongs to; -1 if none."""
        if "patient_id" in self[table].cells:
            return self.link(table)
        session = self.link(table, "session_id")
        return np.append(self.link("sessions"), -1)[session]


def applied(draft: Draft, flags: Iterable[Flag]) -> Draft:
    """The draft after some flags: each found, and what it takes set aside."""
    for flag in flags:
        if len(flag.at):
            found = replace(draft, findings=(*draft.findings, _finding(draft[flag.table], flag)))
            draft = _take(found, flag)
    return draft


def together(table: Table, column: str) -> tuple[str, ...]:
    """The columns that mean something only together: a day and the last day it can be, both ends of a yield."""
    if column.endswith(LATEST):
        return column.removesuffix(LATEST), column
    if column + LATEST in {each.name for each in table.all_columns}:
        return column, column + LATEST
    return next((group for group in TOGETHER if column in group), (column,))


def _finding(table: DraftTable, flag: Flag) -> pd.DataFrame:
    place = table.raw.place
    return findings_frame(
        row=[pd.NA] if flag.once else table.raw.rows[flag.at],
        severity=flag.severity,
        scope=_scope(table.table, flag),
        rule=flag.rule,
        table=flag.table,
        file=place.file,
        sheet=place.sheet,
        column=flag.column,
        value=_value(table, flag),
        problem=flag.problem,
        remedy=flag.remedy,
    )


def _value(table: DraftTable, flag: Flag) -> str | np.ndarray:
    if flag.value is not None:
        return flag.value
    written = None if flag.once else table.raw.columns.get(heading(table.raw, flag.column))
    return "" if written is None else written.at(flag.at)


def heading(raw: RawTable, column: str) -> str:
    """The heading as written of a column of the codebook; blank if the file has no such column."""
    return next((name for name in raw.columns if "_".join(name.casefold().split()) == column), "")


def _scope(table: Table, flag: Flag) -> str:
    if flag.takes == "cell" and _needed(table, flag.column):
        return "row"
    if flag.once and not flag.takes:
        return "table"
    return {"": "cell" if flag.column else "row", "patient": "row"}.get(flag.takes, flag.takes)


def _needed(table: Table, column: str) -> bool:
    return any(table.column(each).required for each in together(table, column))


def _take(draft: Draft, flag: Flag) -> Draft:
    table = draft[flag.table]
    if flag.takes == "patient":
        rows = np.unique(draft.patients_of(flag.table)[flag.at])
        return _take_rows(draft, "patients", rows[rows >= 0], flag.rule)
    if flag.takes == "row" or (flag.takes == "cell" and _needed(table.table, flag.column)):
        return _take_rows(draft, flag.table, flag.at, flag.rule)
    return _take_cells(draft, flag) if flag.takes else draft


def _take_rows(draft: Draft, name: str, rows: np.ndarray, rule: str) -> Draft:
    table = draft[name]
    fresh = rows[~table.gone[rows]]
    gone = np.array(table.gone)
    gone[fresh] = True
    changed = replace(table, gone=gone)
    taken = (*draft.taken, Taken(rule=rule, table=name, at=fresh, scope="row"))
    return replace(draft, tables={**draft.tables, name: changed}, taken=taken)


def _take_cells(draft: Draft, flag: Flag) -> Draft:
    table = draft[flag.table]
    cells, taken = dict(table.cells), list(draft.taken)
    for column in together(table.table, flag.column):
        held = table.known(column)[flag.at] if column != flag.column else np.ones(len(flag.at), dtype=bool)
        taken.append(Taken(rule=flag.rule, table=flag.table, at=flag.at[held], scope="cell", column=column))
        cells[column] = cells[column].without(flag.at)
    changed = replace(table, cells=cells)
    return replace(draft, tables={**draft.tables, flag.table: changed}, taken=tuple(taken))


def nothing_drafted(name: str) -> DraftTable:
    """The draft of a table that the source does not hold."""
    cells = {column.name: blank_cells(column.kind, 0) for column in TABLES[name].all_columns}
    return DraftTable(table=TABLES[name], cells=cells, gone=np.zeros(0, dtype=bool))


def blank_cells(kind: str, rows: int) -> Cells:
    """A column that nobody filled in."""
    blank = np.array([np.nan]) if is_numeric(kind) else np.array([None], dtype=object)
    return Cells(values=blank, which=np.zeros(rows, dtype=np.int8))


def is_numeric(kind: str) -> bool:
    """Whether the cells of a kind of column are held as float."""
    return kind in ("whole", "number", "day", "yes_no")


def source_of(raw: RawSource, draft: Draft) -> Source:
    """Where a draft came from, and how many rows of each table were read and kept."""
    return Source(
        name=raw.name,
        sha256=raw.sha256,
        rows_read={name: len(table) for name, table in draft.tables.items()},
        rows_kept={name: int(table.kept.sum()) for name, table in draft.tables.items()},
    )


def frames_of(draft: Draft) -> dict[str, pd.DataFrame]:
    """The kept rows of each table with the codebook's columns; ids are numbered as their parents' kept rows."""
    ids = {name: _row_ids(table) for name, table in draft.tables.items() if table.table.key}
    return {name: _frame(draft, name, ids) for name in TABLES}


def _row_ids(table: DraftTable) -> pd.CategoricalDtype:
    return pd.CategoricalDtype(pd.Index(table.texts(table.table.key)[table.kept], dtype=object))


def _frame(draft: Draft, name: str, ids: Mapping[str, pd.CategoricalDtype]) -> pd.DataFrame:
    table, rows = draft[name], np.flatnonzero(draft[name].kept)
    columns = {
        column.name: _numbered(draft, name, column, rows, ids) if column.kind == "id" else _typed(table, column, rows)
        for column in table.table.all_columns
    }
    return pd.DataFrame(columns, index=pd.RangeIndex(len(rows)), copy=False)


def _typed(table: DraftTable, column: Column, rows: np.ndarray):
    cells = table.cells[column.name]
    which = cells.which[rows]
    if column.kind == "code":
        dtype = dtype_of(column)
        return pd.Categorical.from_codes(dtype.categories.get_indexer(cells.values)[which], dtype=dtype)
    if column.kind not in ("whole", "day", "yes_no", "number"):
        return pd.array(cells.values, dtype="string").take(which)
    if column.kind == "number":
        return cells.values[which]
    unknown = np.isnan(cells.values)
    if column.kind == "yes_no":
        return pd.arrays.BooleanArray((cells.values == 1.0)[which], unknown[which])
    return pd.arrays.IntegerArray(np.nan_to_num(cells.values).astype(np.int64)[which], unknown[which])


def _numbered(draft: Draft, name: str, column: Column, rows: np.ndarray, ids: Mapping) -> pd.Categorical:
    owner = column.refers_to or name
    kept = draft[owner].kept
    place = np.append(np.where(kept, np.cumsum(kept) - 1, -1), -1)
    return pd.Categorical.from_codes(place[draft.link(name, column.name)[rows]], dtype=ids[owner])


def set_aside_of(draft: Draft) -> pd.DataFrame:
    """The list of every row and cell that a rule set aside."""
    patients = np.append(draft["patients"].texts("patient_id"), None)
    owners = {name: patients[draft.patients_of(name)] for name in {each.table for each in draft.taken}}
    lists = [_listed(draft[each.table], each, owners[each.table]) for each in draft.taken if len(each.at)]
    return pd.concat(lists, ignore_index=True)[list(SET_ASIDE_COLUMNS)] if lists else nothing_set_aside()


def _listed(table: DraftTable, taken, owner: np.ndarray) -> pd.DataFrame:
    about: Mapping[str, object] = {
        "table": taken.table,
        "file": table.raw.place.file,
        "sheet": table.raw.place.sheet,
        "row": pd.array(table.raw.rows[taken.at], dtype="Int64"),
        "scope": taken.scope,
        "column": taken.column,
        "patient_id": owner[taken.at],
        "rule": taken.rule,
    }
    text = [name for name in about if name != "row"]
    return pd.DataFrame(about).astype(dict.fromkeys(text, object))
