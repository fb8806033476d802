"""Calendar dates to whole days from the index drainage; after this nothing made from an export holds a date."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pandas as pd

from necrostats.registry.codebook import DRAINAGES, TABLES
from necrostats.registry.days import quarter, sequential_periods
from necrostats.registry.export.layout import Layout, RowsLayout
from necrostats.registry.export.table_drafts import NOWHERE, Days, Made, Making, Mark, Origin
from necrostats.registry.export.texts import Texts

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
