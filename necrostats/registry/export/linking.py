"""Rows of made tables tied to their patients, collections and sessions, and their dates turned into days."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from types import MappingProxyType

import numpy as np
import pandas as pd

from necrostats.registry.codebook import DRAINAGES, TABLES
from necrostats.registry.days import quarter, sequential_periods
from necrostats.registry.export.event_links import with_day, with_their_sessions
from necrostats.registry.export.layout import BY_ID, NOT_UNDERSTOOD, Layout, RowsLayout
from necrostats.registry.export.table_drafts import NOWHERE, Days, Made, Making, Mark, Origin, Texts, joined

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


def linked(
    making: Making, layout: Layout, makers: Sequence[RowsLayout], before: Mapping[str, int] = NOTHING_BEFORE
) -> Making:
    """Every row with its own id and those of its patient, collection, session and stent.

    Ids run on after so many rows of each table as were made `before`.
    """
    ids = Texts.of([*making.ids, ""])
    tables = {name: _with_ids(made, ids, before.get(name, 0)) for name, made in making.tables.items()}
    making = making.with_tables(**tables)
    making = _under_sessions(making)
    treated = {name: _with_collection(making.tables[name], making.tables["collections"], layout) for name in TREATED}
    making = making.with_tables(**treated)
    return with_their_sessions(making, makers)


def _under_sessions(making: Making) -> Making:
    """Stents read in a session's cell were placed on its day, in its collection."""
    stents, sessions = making.tables["stents"], making.tables["sessions"]
    rows = np.flatnonzero(stents.parent >= 0)
    if not len(rows):
        return making
    stents = with_day(stents, sessions, rows, "placed_day")
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
    ids, lost, guessed = collections.text("collection_id"), [], []
    known = KnownCollections(
        site=collections.text("site").plain(),
        number=collections.number,
        own=collections.text("collection").plain(),
    )
    rows_of = {person: rows.to_numpy() for person, rows in of_person} if (named != "").any() else {}
    for row in np.flatnonzero(named != ""):
        theirs = rows_of.get(made.person[row], ())
        if named[row] == NOT_UNDERSTOOD and len(theirs) == 1:
            guessed.append(row)
            continue
        found = known.found(named[row], theirs)
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
    strange = np.array([_is_of_another(named[row], known.own) for row in lost], dtype=bool)
    return made.with_marks(
        *_about_collections(made, np.array(lost, dtype=np.int64), strange, layout, free),
        _only_one(made, np.array(guessed, dtype=np.int64)),
    )


def _is_of_another(named: str, own: np.ndarray) -> bool:
    """Whether every part of a reference is the id of a collection; then it is another patient's."""
    parts = named.split(";")
    return all(part.startswith(BY_ID) and part.removeprefix(BY_ID) in own for part in parts)


def _only_one(made: Made, at: np.ndarray) -> Mark:
    return Mark(
        rule="COLLECTION_NOT_KNOWN",
        at=at,
        column="collection",
        severity="asks",
        problem="names no collection that is known here; the patient has one only, and that is taken",
        origin=made.origin("collection").take(at),
        remedy='Map what the export calls its collections to "collection" in the table of collections, or list the '
        "words under codes.",
    )


def _others(collections: Made, person: int, main: int) -> np.ndarray:
    rows = np.flatnonzero(collections.person == person)
    return rows[rows != main]


def _unreadable(made: Made, column: str) -> np.ndarray:
    found = np.zeros(len(made), dtype=bool)
    for mark in made.marks:
        if mark.column == column and mark.severity == "stops":
            found[mark.at] = True
    return found


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class KnownCollections:
    """What the collections (N,) are known by: the site, the number in a heading ("K2 size"), the export's own id."""

    site: np.ndarray
    number: np.ndarray
    own: np.ndarray

    def found(self, named: str, rows: Sequence[int]) -> list[int]:
        """The collections (row numbers) that a reference means; none if one of its parts cannot be found.

        A number is that of the heading where the collections have one, else their place in the order written.
        """
        if named == "all":
            return list(rows)
        each = [self._meant(part, rows) for part in named.split(";")]
        return list(dict.fromkeys(row for one in each for row in one)) if all(len(one) == 1 for one in each) else []

    def _meant(self, part: str, rows: Sequence[int]) -> list[int]:
        if part.startswith(BY_ID):
            return [row for row in rows if self.own[row] == part.removeprefix(BY_ID)]
        if part.isdecimal():
            wanted = int(part[:_LONGEST_NUMBER]) if len(part) <= _LONGEST_NUMBER else 0
            own = [self.number[row] or place for place, row in enumerate(rows, start=1)]
            return [row for row, each in zip(rows, own, strict=True) if each == wanted]
        matching = [row for row in rows if self.site[row] == part]
        alone = part != NOT_UNDERSTOOD and len(rows) == 1 and not self.site[rows[0]]
        return [rows[0]] if not matching and alone else matching


def _about_collections(
    made: Made, lost: np.ndarray, strange: np.ndarray, layout: Layout, free: np.ndarray
) -> Iterator[Mark]:
    origin = made.origin("collection")
    yield Mark(
        rule="NO_SUCH_COLLECTION",
        at=lost,
        column="collection",
        severity="stops",
        takes="row" if made.table.column("collection_id").required else "cell",
        problem=np.where(
            strange, "is a collection of another patient", "is none of the patient's collections, or more than one"
        ),
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


INDEX_DATE = "index_date"
UNREADABLE = "gives no index drainage whose day is known"
TWICE = "is one of several dates of the index drainage"


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Index:
    """For each patient (P,): the day of the index drainage as an ordinal, NaN where there is none that can be used,
    and why not; and the cell that it stands in."""

    day: np.ndarray
    problem: np.ndarray
    origin: Origin


def index_of(making: Making, makers: list[RowsLayout]) -> Index:
    """The day of each patient's index drainage, from the rows that the layout says it stands in."""
    patients, sessions = making.tables["patients"], making.tables["sessions"]
    day = patients.day(INDEX_DATE)
    doubtful, origin = day.known & ~day.exact, patients.origin(INDEX_DATE)
    dated = [_Dated(person=patients.person, days=day, doubtful=doubtful, origin=origin)]
    for number, rows in enumerate(makers):
        at = np.flatnonzero(sessions.maker == number)
        if rows.index == "first_drainage":
            at = _first_drainages(sessions, at)
        if rows.index:
            day = sessions.day("day").take(at)
            doubtful = ~day.exact & (day.known | (rows.index == "first_drainage"))
            origin = sessions.origin("day").take(at)
            dated.append(_Dated(person=sessions.person[at], days=day, doubtful=doubtful, origin=origin))
    return _one_each(dated, len(making.ids))


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Dated:
    person: np.ndarray
    days: Days
    doubtful: np.ndarray
    origin: Origin


def _first_drainages(sessions: Made, rows: np.ndarray) -> np.ndarray:
    """Of some sessions the first drainage of each patient; all his drainages, if one has no exact date."""
    rows = rows[sessions.text("session_type").among(DRAINAGES)[rows]]
    day = sessions.day("day").take(rows)
    doubtful = np.isin(sessions.person[rows], sessions.person[rows][~day.exact])
    order = np.lexsort((day.first, sessions.person[rows]))
    first = np.zeros(len(rows), dtype=bool)
    first[order[np.unique(sessions.person[rows][order], return_index=True)[1]]] = True
    return rows[first | doubtful]


def _one_each(dated: list[_Dated], people: int) -> Index:
    low, high = np.full(people, np.inf), np.full(people, -np.inf)
    inexact = np.zeros(people, dtype=bool)
    origin = Origin.none(people)
    for each in dated:
        exact, person = each.days.known & each.days.exact, each.person
        np.minimum.at(low, person[exact], each.days.first[exact])
        np.maximum.at(high, person[exact], each.days.first[exact])
        inexact[person[each.doubtful]] = True
        written = each.origin.column != NOWHERE
        origin = origin.put(person[written], each.origin.take(written))
    problem = np.full(people, "", dtype=object)
    problem[~np.isfinite(low)] = UNREADABLE
    problem[inexact] = "gives an index drainage whose day is not known exactly"
    problem[np.isfinite(low) & (low != high)] = TWICE
    return Index(day=np.where(problem == "", low, np.nan), problem=problem, origin=origin)


def timed(making: Making, index: Index, layout: Layout) -> Making:
    """Every date as days from the index drainage, with what is doubtful about it; periods where none is written."""
    tables = {name: _timed(made, index, layout) for name, made in making.tables.items()}
    return making.with_tables(**tables)


def _timed(made: Made, index: Index, layout: Layout) -> Made:
    start = np.append(index.day, np.nan)[made.person]
    if made.table.name == "sessions":
        made = _with_period(made, "period", made.day("day"))
    if made.table.name == "patients":
        made = _with_period(made, "index_period", Days(first=start, last=start))
        made = _with_lock(made, start, layout.data_lock)
    for name in [each for each in made.days if each != INDEX_DATE]:
        made = _implausible(made, name, layout)
        made = _offset(made, name, start)
    return replace(made, days={})


def _with_period(made: Made, column: str, days: Days) -> Made:
    ordinals = np.unique(np.concatenate([days.first[days.known], days.last[days.known]]))
    labels = [quarter(date.fromordinal(int(ordinal))) for ordinal in ordinals]
    rows = np.flatnonzero(days.known & ~made.text(column).filled)
    if not len(rows):
        return made
    first, last = (Texts.chosen(labels, np.searchsorted(ordinals, each[rows])) for each in (days.first, days.last))
    sure = np.flatnonzero(~first.differs(last))
    return made.with_text(column, rows[sure], first.take(sure))


def _with_lock(made: Made, start: np.ndarray, lock: date | None) -> Made:
    rows = np.flatnonzero(~np.isnan(start) & ~made.text("observed_days").filled) if lock else np.empty(0, np.int64)
    return made.with_text("observed_days", rows, _texts(lock.toordinal() - start[rows])) if len(rows) else made


def _implausible(made: Made, name: str, layout: Layout) -> Made:
    days, origin = made.day(name), made.origin(name)
    bounds = {
        "lies before anything this export can cover": layout.earliest and days.last < layout.earliest.toordinal(),
        "lies after the data lock": layout.data_lock and days.first > layout.data_lock.toordinal(),
    }
    for problem, outside in bounds.items():
        at = np.flatnonzero(outside) if isinstance(outside, np.ndarray) else np.empty(0, np.int64)
        made = made.with_marks(
            Mark(
                rule="UNLIKELY_DATE",
                at=at,
                column=name,
                severity="asks",
                problem=problem,
                origin=origin.take(at),
                remedy="Is the year right? The date is kept as it was read.",
            )
        )
    return made


def _offset(made: Made, name: str, start: np.ndarray) -> Made:
    days, origin = made.day(name), made.origin(name)
    first, last = days.first - start, days.last - start
    if TABLES[made.table.name].column(name).low == 0:
        across = np.flatnonzero((first < 0) & (last >= 0))
        first[across] = 0
        made = made.with_marks(_cut(name, across, origin))
    known = np.flatnonzero(~np.isnan(first))
    ranged = np.flatnonzero(~np.isnan(first) & (first != last))
    made = made.with_text(name, known, _texts(first[known])).with_text(name + "_latest", ranged, _texts(last[ranged]))
    partner = made.origin(name + "_latest").put(ranged, origin.take(ranged))
    return replace(made, origins={**made.origins, name + "_latest": partner})


def _cut(name: str, at: np.ndarray, origin: Origin) -> Mark:
    return Mark(
        rule="ACROSS_DAY_0",
        at=at,
        column=name,
        severity="asks",
        origin=origin.take(at),
        problem="gives a range that begins before the index drainage; it is read from day 0 on",
        remedy="Write the day, if it is known.",
    )


def _texts(days: np.ndarray) -> Texts:
    which, different = pd.factorize(days)
    return Texts.chosen([str(int(day)) for day in different], which)


def hidden_quarters(making: Making) -> tuple[Making, dict[str, str]]:
    """Periods as P01, P02 …, and the key: quarter → private period, which is to be kept apart."""
    places = (("patients", "index_period"), ("sessions", "period"))
    labels = {label for table, column in places for label in making.tables[table].text(column).different if label}
    key = sequential_periods(label for label in labels if "Q" in label)
    for table, column in places:
        made = making.tables[table]
        texts = made.text(column)
        hidden = Texts.chosen([key.get(label, label) for label in texts.different], texts.which)
        making = making.with_tables(**{table: made.with_all(column, hidden)})
    return making, key
