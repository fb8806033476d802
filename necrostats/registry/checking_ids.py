"""Who is who and whose is what: ids that occur twice, parents that do not exist, things of another patient."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from necrostats.registry.codebook import TABLES, Column
from necrostats.registry.drafts import Draft, DraftTable, Flag, applied, heading
from necrostats.registry.findings import DUPLICATE_ROW
from necrostats.registry.written import smallest


def without_required_cells(draft: Draft) -> Iterator[Flag]:
    """A row whose key or required cell is blank is set aside."""
    for name, table in draft.tables.items():
        for column in table.table.required_columns if table.given else ():
            if heading(table.raw, column.name):
                blank = table.kept & ~table.known(column.name)
                yield Flag(
                    rule="REQUIRED",
                    table=name,
                    at=np.flatnonzero(blank),
                    severity="stops",
                    column=column.name,
                    takes="row",
                    problem="is required, and nothing is known here",
                    remedy="Fill in the cell. The row is set aside until then.",
                )


def twice(draft: Draft) -> Iterator[Flag]:
    """An id that heads several rows: word for word the same, the first is kept; otherwise none is."""
    for name, table in draft.tables.items():
        key = table.table.key
        if not key or not table.given:
            continue
        which = table.cells[key].which
        shared = table.kept & (np.bincount(which[table.kept], minlength=len(table.cells[key].values)) > 1)[which]
        if shared.any():
            rows = np.flatnonzero(shared)
            yield from _same_or_not(name, table, rows, which[rows])


def _same_or_not(name: str, table: DraftTable, rows: np.ndarray, ids: np.ndarray) -> Iterator[Flag]:
    key = table.table.key
    written = [column.at(rows) for head, column in table.raw.columns.items() if head != heading(table.raw, key)]
    content = pd.DataFrame(dict(enumerate(written)), index=range(len(rows))).map(str.strip).assign(id=ids)
    different = content.groupby(list(content.columns), sort=False).ngroup()
    same = (different.groupby(ids).transform("nunique") == 1).to_numpy()
    first = ~content["id"].duplicated().to_numpy()
    yield Flag(
        rule=DUPLICATE_ROW,
        table=name,
        at=rows[same & ~first],
        severity="asks",
        column=key,
        takes="row",
        problem="heads a row that stands here word for word a second time; the first one counts",
        remedy="Take the copy away, or correct the id if it is another one.",
    )
    yield Flag(
        rule="DUPLICATE_ID",
        table=name,
        at=rows[~same],
        severity="stops",
        column=key,
        takes="row",
        problem="heads several rows that differ, so none of them is read",
        remedy="Give each row its own id, or take the wrong rows away.",
    )


def linked(draft: Draft) -> Draft:
    """The draft with every id column looked up in the table it refers to."""
    lookups = {name: Lookup.of(draft[name]) for name in {column.refers_to for _, column in references()}}
    parents = {
        (name, column.name): lookups[column.refers_to].rows_of(draft[name].cells[column.name].values)
        for name, column in references()
    }
    return replace(draft, parents=parents)


@dataclass(frozen=True, kw_only=True, eq=False)
class Lookup:
    """The ids of a table, and the row that each belongs to: one that is kept, if there is one."""

    values: np.ndarray
    rows: np.ndarray

    @classmethod
    def of(cls, table: DraftTable) -> Lookup:
        """The lookup of a table by its key."""
        cells = table.cells[table.table.key]
        rows = np.full(len(cells.values), -1)
        for of_rows in (np.flatnonzero(table.gone), np.flatnonzero(table.kept)):
            rows[cells.which[of_rows[::-1]]] = of_rows[::-1]
        rows[0] = -1
        return cls(values=cells.values, rows=rows)

    def rows_of(self, ids: np.ndarray) -> np.ndarray:
        """The row of each id; -1 for a blank and for an id the table does not hold."""
        if ids is self.values:
            return smallest(self.rows)
        found = pd.Index(self.values, dtype=object).get_indexer(pd.Index(ids, dtype=object))
        return smallest(np.where(found >= 0, self.rows[found], -1))


def references() -> list[tuple[str, Column]]:
    """Every column that holds the id of another row, with the table it stands in, parents before children."""
    return [
        (name, column)
        for name, table in TABLES.items()
        for column in table.columns
        if column.kind == "id" and column.refers_to
    ]


def orphans(draft: Draft) -> Iterator[Flag]:
    """An id that names no row of its table."""
    for name, column in references():
        table = draft[name]
        lost = table.kept & table.known(column.name) & (draft.link(name, column.name) < 0)
        yield Flag(
            rule="ORPHAN",
            table=name,
            at=np.flatnonzero(lost),
            severity="stops",
            column=column.name,
            takes="cell",
            problem=f"is not in the table {column.refers_to}",
            remedy=f"Correct the id, or add the row it means to {column.refers_to}.",
        )


def of_another_patient(draft: Draft) -> Iterator[Flag]:
    """A collection, session or stent that belongs to another patient than the row that names it."""
    for name, column in references():
        if column.refers_to == "patients" or "patient_id" not in draft[name].cells:
            continue
        table, parent = draft[name], draft.link(name, column.name)
        owner = np.append(draft.patients_of(column.refers_to), -1)[parent]
        other = table.kept & (parent >= 0) & (owner >= 0) & (owner != draft.patients_of(name))
        yield Flag(
            rule="OTHER_PATIENT",
            table=name,
            at=np.flatnonzero(other),
            severity="stops",
            column=column.name,
            takes="cell",
            problem="belongs to another patient than the one this row names",
            remedy="Correct this id or the patient's.",
        )


def followed(draft: Draft) -> Draft:
    """The draft after children have followed their parents: rows where the parent is needed, else the cell."""
    for name, column in references():
        table, parent = draft[name], draft.link(name, column.name)
        lost = table.kept & (parent >= 0) & np.append(draft[column.refers_to].gone, False)[parent]
        flag = Flag(
            rule="PARENT_SET_ASIDE",
            table=name,
            at=np.flatnonzero(lost),
            severity="notes",
            column=column.name,
            takes="cell",
            problem=f"was set aside from {column.refers_to}, and this with it",
            remedy="Mend the row it belongs to: this one follows.",
        )
        draft = applied(draft, [flag])
    return draft


def also_treated(draft: Draft) -> Iterator[Flag]:
    """Further collections of a session: each must exist, be kept, and belong to the session's patient."""
    table, collections = draft["sessions"], draft["collections"]
    rows = np.flatnonzero(table.kept & table.known("also_treated"))
    if not len(rows):
        return
    named = pd.Series(table.texts("also_treated")[rows], index=rows, dtype=object).str.split(";").explode()
    position = Lookup.of(collections).rows_of(named.to_numpy(dtype=object))
    owner = np.append(draft.patients_of("collections"), -1)[position]
    wrong = {
        "is not in the table collections": position < 0,
        "belongs to another patient": (position >= 0) & (owner != draft.patients_of("sessions")[named.index]),
        "was set aside from collections": (position >= 0) & np.append(collections.gone, False)[position],
    }
    for problem, bad in wrong.items():
        at = np.unique(named.index.to_numpy()[bad])
        still = at[draft["sessions"].known("also_treated")[at]]
        yield Flag(
            rule="ALSO_TREATED",
            table="sessions",
            at=still,
            severity="stops",
            column="also_treated",
            takes="cell",
            problem=f"names a collection that {problem}",
            remedy="Correct the ids, with ; between them.",
        )
