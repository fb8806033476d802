"""Whose is what: collections, sessions and events given study codes and put together, by the layout."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

import numpy as np
import pandas as pd

from necrostats.registry.columns import LATEST
from necrostats.registry.export.layout import Layout
from necrostats.registry.export.table_drafts import NOWHERE, Made, Making, Mark, Origin, joined
from necrostats.registry.export.texts import Texts

ID_FORMS = {"collections": "C%04d", "sessions": "S%05d", "stents": "T%05d", "scans": "N%05d", "adverse_events": "E%04d"}
_LONGEST_NUMBER = 9
NOTHING_BEFORE: Mapping[str, int] = MappingProxyType({})
TREATED = ("sessions", "stents", "scans")
GUESSED = "the patient has several collections, and nothing says which this is; the index collection is taken"


def with_collections(making: Making, layout: Layout) -> Making:
    """Every patient has a collection, grouped by patient; the first is the index one where no column says so."""
    patients = making.tables["patients"]
    lacking = np.flatnonzero(~np.isin(patients.person, making.tables["collections"].person))
    bare = replace(patients, table=making.tables["collections"].table, texts={}, days={}, origins={}, marks=())
    made = joined([making.tables["collections"], bare.take(lacking)])
    made = made.take(np.argsort(made.person, kind="stable"))
    if not made.text("is_index").filled.any():
        made = _first_is_index(made, layout)
    return making.with_tables(collections=made)


def _first_is_index(made: Made, layout: Layout) -> Made:
    first = ~pd.Series(made.person).duplicated().to_numpy()
    several = pd.Series(made.person).duplicated(keep=False).to_numpy()
    made = made.with_all("is_index", Texts.chosen(["no", "yes"], first.astype(np.int8)))
    at = np.flatnonzero(first & several) if not layout.index_named else np.empty(0, np.int64)
    return made.with_marks(
        Mark(
            rule="INDEX_ASSUMED",
            at=at,
            column="is_index",
            severity="asks",
            origin=_place(made, at, "collections"),
            problem="the patient has several collections; the first one named is taken for the index collection",
            remedy='If that is always so, write index = "first" under [collections] in the layout.',
        )
    )


def _place(made: Made, at: np.ndarray, column: str) -> Origin:
    return made.origin(column).take(at)


def grouped(making: Making) -> Making:
    """Every table in the order of patients; sessions by group and number, instruments and events by their session.

    A session made of an index date that stands with the patient comes before those of other sheets.
    """
    sessions = making.tables["sessions"]
    order = np.lexsort((sessions.number, sessions.maker >= 0, sessions.person))
    to = np.empty(len(order), dtype=np.int64)
    to[order] = np.arange(len(order))
    others = {name: _followed(made, to) for name, made in making.tables.items() if name != "sessions"}
    return making.with_tables(sessions=_taken(sessions, order), **others)


def _followed(made: Made, to: np.ndarray) -> Made:
    parent = np.where(made.parent >= 0, np.append(to, NOWHERE)[made.parent], NOWHERE)
    order = np.lexsort((np.where(parent >= 0, parent, np.iinfo(np.int64).max), made.person))
    return _taken(replace(made, parent=parent), order)


def _taken(made: Made, order: np.ndarray) -> Made:
    return made if np.array_equal(order, np.arange(len(order))) else made.take(order)


def linked(making: Making, layout: Layout, before: Mapping[str, int] = NOTHING_BEFORE) -> Making:
    """Every row with its own id and those of its patient, collection and session.

    Ids run on after so many rows of each table as were made `before`.
    """
    ids = Texts.of([*making.ids, ""])
    tables = {name: _with_ids(made, ids, before.get(name, 0)) for name, made in making.tables.items()}
    making = making.with_tables(**tables)
    making = _under_sessions(making)
    treated = {name: _with_collection(making.tables[name], making.tables["collections"], layout) for name in TREATED}
    making = making.with_tables(**treated)
    sessions = making.tables["sessions"]
    under = ("instrument_uses", "adverse_events")
    naming = any(making.tables[name].text("session").filled.any() for name in under)
    known = _known_sessions(sessions) if naming else {}
    return making.with_tables(**{name: _with_session(making.tables[name], sessions, known) for name in under})


def _under_sessions(making: Making) -> Making:
    """Stents read in a session's cell were placed on its day, in its collection."""
    stents, sessions = making.tables["stents"], making.tables["sessions"]
    rows = np.flatnonzero(stents.parent >= 0)
    if not len(rows):
        return making
    stents = _with_day(stents, sessions, rows, "placed_day")
    collection = sessions.text("collection").take(stents.parent[rows])
    return making.with_tables(stents=stents.with_text("collection", rows, collection))


def _with_ids(made: Made, ids: Texts, before: int) -> Made:
    if "patient_id" in made.table.names:
        made = made.with_all("patient_id", ids.take(made.person))
    if form := ID_FORMS.get(made.table.name):
        numbers = range(before + 1, before + len(made) + 1)
        made = made.with_all(made.table.key, Texts.of([form % number for number in numbers]))
    return made


def _with_collection(made: Made, collections: Made, layout: Layout) -> Made:
    """The rows of a table with the collection each is about; what cannot be found stays blank."""
    of_person = pd.Series(np.arange(len(collections))).groupby(collections.person)
    count = np.bincount(collections.person, minlength=made.person.max(initial=0) + 1)
    index = collections.text("is_index").among(["yes"])
    order = np.lexsort((~index, collections.person))
    first = pd.Series(order, index=collections.person[order])
    first = first[~first.index.duplicated()].reindex(made.person).to_numpy(dtype=float)
    main = np.nan_to_num(first, nan=-1).astype(np.int64)
    further = np.full(len(made), "", dtype=object)
    named, bad = made.text("collection").plain(), _unreadable(made, "collection")
    ids, lost = collections.text("collection_id"), []
    site = collections.text("site").plain()
    rows_of = {person: rows.to_numpy() for person, rows in of_person} if (named != "").any() else {}
    for row in np.flatnonzero(named != ""):
        found = _found(named[row], rows_of.get(made.person[row], ()), site, collections.number)
        if not found or (len(found) > 1 and made.table.name != "sessions"):
            lost.append(row)
        main[row] = found[0] if found and row not in lost[-1:] else -1
        further[row] = ";".join(ids.take(found[1:]).plain()) if len(found) > 1 else ""
    main[bad] = -1
    free = np.flatnonzero((named == "") & ~bad & (count[made.person] > 1))
    if layout.unnamed == "all" and made.table.name == "sessions":
        others = {row: _others(collections, made.person[row], main[row]) for row in free}
        further[free] = [";".join(ids.take(others[row]).plain()) for row in free]
    made = made.with_all("collection_id", ids.or_blank(main))
    if made.table.name == "sessions" and (further != "").any():
        made = made.with_all("also_treated", Texts.of(further))
    return made.with_marks(*_about_collections(made, np.array(lost, dtype=np.int64), free, layout))


def _others(collections: Made, person: int, main: int) -> np.ndarray:
    rows = np.flatnonzero(collections.person == person)
    return rows[rows != main]


def _unreadable(made: Made, column: str) -> np.ndarray:
    found = np.zeros(len(made), dtype=bool)
    for mark in made.marks:
        if mark.column == column and mark.severity == "stops":
            found[mark.at] = True
    return found


def _found(named: str, rows: np.ndarray, site: np.ndarray, number: np.ndarray) -> list[int]:
    """The collections (row numbers) that a reference means; none if one of its parts cannot be found.

    A number is that of the heading ("K2 size") where the collections have one, else their place in the order written.
    """
    if named == "all":
        return list(rows)
    found = []
    for part in named.split(";"):
        if part.isdecimal():
            wanted = int(part[:_LONGEST_NUMBER]) if len(part) <= _LONGEST_NUMBER else 0
            own = [number[row] or place for place, row in enumerate(rows, start=1)]
            matching = [row for row, each in zip(rows, own, strict=True) if each == wanted]
        else:
            matching = [row for row in rows if site[row] == part]
            if not matching and len(rows) == 1 and not site[rows[0]]:
                matching = [rows[0]]
        if len(matching) != 1:
            return []
        found.append(matching[0])
    return list(dict.fromkeys(found))


def _about_collections(made: Made, lost: np.ndarray, free: np.ndarray, layout: Layout):
    origin = made.origin("collection")
    yield Mark(
        rule="NO_SUCH_COLLECTION",
        at=lost,
        column="collection",
        severity="stops",
        takes="row" if made.table.column("collection_id").required else "cell",
        problem="is none of the patient's collections, or more than one",
        origin=origin.take(lost),
        remedy="Name the collection as it is named where the patient's collections stand.",
    )
    if not layout.unnamed:
        yield Mark(
            rule="COLLECTION_ASSUMED",
            at=free,
            column="collection_id",
            severity="asks",
            problem=GUESSED,
            origin=Origin.none(len(free)),
            remedy='Map a column to "collection", or write unnamed = "index" under [collections] in the layout.',
        )


def _known_sessions(sessions: Made) -> dict[tuple[int, str], int]:
    """(patient, key of a session as the export writes it) → row; keys that two sessions share are left out."""
    known: dict[tuple[int, str], int] = {}
    own, numbers = sessions.text("session").plain(), sessions.number
    for row, person in enumerate(sessions.person.tolist()):
        key = (person, own[row] or (str(numbers[row]) if numbers[row] else ""))
        if key[1]:
            known[key] = NOWHERE if key in known else row
    return {key: row for key, row in known.items() if row != NOWHERE}


def _with_session(made: Made, sessions: Made, known: dict[tuple[int, str], int]) -> Made:
    """Rows made in a session's cell have its id, and an event its day; others have the session that they name."""
    parent = made.parent.copy()
    named = made.text("session").plain()
    lost = []
    for row in np.flatnonzero((named != "") & (parent < 0)):
        number = re.search(r"0*([0-9]+)$", named[row])
        keys = [named[row], *([number[1]] if number else [])]
        parent[row] = next((known[made.person[row], key] for key in keys if (made.person[row], key) in known), NOWHERE)
        if parent[row] < 0:
            lost.append(row)
    made = made.with_all("session_id", sessions.text("session_id").or_blank(parent))
    at = np.array(lost, dtype=np.int64)
    mark = Mark(
        rule="NO_SUCH_SESSION",
        at=at,
        column="session",
        severity="stops",
        takes="cell",
        problem="is none of the patient's sessions",
        origin=made.origin("session").take(at),
        remedy="Write the number of the session, or the key it has in the sheet of sessions.",
    )
    read_in_session = np.flatnonzero(made.parent >= 0)
    made = replace(made.with_marks(mark), parent=parent)
    return _with_day(made, sessions, read_in_session) if made.table.name == "adverse_events" else made


def _with_day(made: Made, sessions: Made, rows: np.ndarray, column: str = "day") -> Made:
    """An event or stent read from a session's own cell happened on the session's day."""
    for latest in ("", LATEST):
        texts = sessions.text("day" + latest).take(made.parent[rows])
        if texts.filled.any():
            made = made.with_text(column + latest, rows[texts.filled], texts.take(texts.filled))
    return made
