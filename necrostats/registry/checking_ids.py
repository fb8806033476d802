"""Who is who and whose is what: ids that occur twice, parents that do not exist, things of another patient.

Rules about time zero: one index collection a patient, drained on day 0.

The same thing entered twice under different ids, or in a table without ids.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from necrostats.registry.codebook import DRAINAGES, TABLES, Column
from necrostats.registry.drafts import Draft, DraftTable, Flag, applied, heading
from necrostats.registry.findings import DUPLICATE_ROW, FOLLOWS
from necrostats.registry.source_table import smallest


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
            rule=FOLLOWS,
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


def marked(draft: Draft) -> Draft:
    """A patient's only collection with is_index left blank is taken for the index collection, and asked about."""
    collections = draft["collections"]
    if not collections.given or not heading(collections.raw, "is_index"):
        return draft
    owner = collections.cells["patient_id"].which
    lone = np.append(False, np.bincount(owner)[1:] == 1)[owner]
    at = np.flatnonzero(collections.kept & lone & ~collections.known("is_index"))
    flag = Flag(
        rule="INDEX_UNMARKED",
        table="collections",
        at=at,
        severity="asks",
        column="is_index",
        problem="nothing says that this is the index collection; as the patient's only one it is taken to be",
        remedy="Write yes under is_index.",
        value="",
    )
    cells = collections.cells["is_index"].with_value(at, 1.0)
    changed = replace(collections, cells={**collections.cells, "is_index": cells})
    return replace(applied(draft, [flag]), tables={**draft.tables, "collections": changed})


def one_index_collection(draft: Draft) -> Iterator[Flag]:
    """Exactly one index collection a patient: with none or two, nothing of the patient can be dated."""
    patients, collections = draft["patients"], draft["collections"]
    index = collections.kept & collections.yes("is_index")
    owner = draft.link("collections")
    count = np.bincount(owner[index], minlength=len(patients))
    yield Flag(
        rule="NO_INDEX",
        table="patients",
        at=np.flatnonzero(patients.kept & (count == 0)),
        severity="stops",
        column="patient_id",
        takes="row",
        problem="has no index collection that can be used",
        remedy="Mark the collection drained on day 0 with is_index yes, or mend its row.",
    )
    yield Flag(
        rule="TWO_INDEX",
        table="collections",
        at=np.flatnonzero(index & (np.append(count, 0)[owner] > 1)),
        severity="stops",
        column="is_index",
        takes="patient",
        problem="marks one of several index collections of one patient, who is set aside",
        remedy="Mark one collection a patient: the one drained on day 0.",
    )


def drained_on_day_0(draft: Draft) -> Iterator[Flag]:
    """The index drainage is day 0: a first drainage later stops the patient, none at all is asked about."""
    patients, sessions = draft["patients"], draft["sessions"]
    if not sessions.given:
        return
    first = _first_drainage(draft)
    incomplete = _has(draft, sessions.gone)
    late = patients.kept & (first > 0) & np.isfinite(first)
    yield Flag(
        rule="LATE_INDEX",
        table="patients",
        at=np.flatnonzero(late & ~incomplete),
        severity="stops",
        column="patient_id",
        takes="row",
        problem="has a first drainage after day 0, which is the day of the index drainage",
        remedy="Count every day of this patient from the first drainage, or add the drainage of day 0.",
    )
    yield Flag(
        rule="NO_INDEX_DRAINAGE",
        table="patients",
        at=np.flatnonzero(patients.kept & (np.isinf(first) | (late & incomplete))),
        severity="asks",
        column="patient_id",
        problem="has no session of type drainage on day 0",
        remedy="Add the index drainage to sessions, or say in your methods why it is not there.",
    )
    yield Flag(
        rule="INDEX_NOT_DRAINED",
        table="patients",
        at=np.flatnonzero(patients.kept & (first == 0) & ~_has(draft, _drains_index(draft))),
        severity="asks",
        column="patient_id",
        problem="was drained on day 0, but not in the index collection",
        remedy="Check is_index in collections, and collection_id in the session of day 0.",
    )


def _first_drainage(draft: Draft) -> np.ndarray:
    """The day (P,) of the first drainage in the file, set aside or not; infinity if there is none."""
    sessions, owner = draft["sessions"], draft.link("sessions")
    rows = (owner >= 0) & sessions.holds("session_type", DRAINAGES) & sessions.known("day")
    first = np.full(len(draft["patients"]), np.inf)
    np.minimum.at(first, owner[rows], sessions.numbers("day")[rows])
    return first


def _drains_index(draft: Draft) -> np.ndarray:
    """Sessions (N,) of day 0 that may have drained an index collection: the one they name, or a further one."""
    sessions, collections = draft["sessions"], draft["collections"]
    index = np.append(collections.yes("is_index"), True)[draft.link("sessions", "collection_id")]
    return (sessions.numbers("day") == 0) & (index | sessions.known("also_treated"))


def _has(draft: Draft, sessions: np.ndarray) -> np.ndarray:
    """Patients (P,) with at least one of some sessions."""
    owner = draft.link("sessions")[sessions]
    return np.bincount(owner[owner >= 0], minlength=len(draft["patients"])) > 0


SAME = {
    "sessions": ("patient_id", "day"),
    "scans": ("collection_id", "day"),
    "reviews": ("patient_id", "day"),
    "other_interventions": ("patient_id", "day", "kind"),
    "instrument_uses": ("session_id", "instrument_class"),
}
WORDS = {
    "sessions": "the same patient and day as another session",
    "scans": "the same collection and day as another scan",
    "reviews": "the same patient and day as another review",
    "other_interventions": "the same patient, day and kind as another intervention",
    "instrument_uses": "the same class as another row of this session",
}


def same_again(draft: Draft) -> Iterator[Flag]:
    """Rows that agree with another row in all that tells rows of their table apart."""
    for name, columns in SAME.items():
        table = draft[name]
        rows = np.flatnonzero(table.kept)
        alike = pd.DataFrame({column: _numbered(draft, name, column)[rows] for column in columns})
        yield Flag(
            rule="SAME_AGAIN",
            table=name,
            at=rows[alike.duplicated(keep=False).to_numpy()],
            severity="asks",
            column=columns[-1],
            problem=f"this row has {WORDS[name]}",
            remedy="If one of them is a copy, take it away. Both count until then.",
            value="",
        )


def _numbered(draft: Draft, table: str, column: str) -> np.ndarray:
    if column.endswith("_id"):
        return draft.link(table, column)
    cells = draft[table].cells[column]
    return pd.factorize(cells.values)[0][cells.which]
