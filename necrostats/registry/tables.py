"""Registry: the tidy tables, what was found in them, and where they came from."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np
import pandas as pd

from necrostats.errors import ChoiceError, unknown_choice
from necrostats.registry import periods
from necrostats.registry.codebook import TABLES, Column, Table
from necrostats.registry.findings import no_findings

NO_DAY = np.int64(1 << 40)
SET_ASIDE_COLUMNS = ("table", "file", "sheet", "row", "scope", "column", "patient_id", "rule")


@dataclass(frozen=True, kw_only=True)
class Source:
    """Where a registry came from: a name, the hash of what was read, and rows in and kept for each table."""

    name: str
    sha256: str = ""
    rows_read: Mapping[str, int] = field(default_factory=dict)
    rows_kept: Mapping[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name in ("rows_read", "rows_kept"):
            object.__setattr__(self, name, MappingProxyType(dict(getattr(self, name))))


@dataclass(frozen=True, kw_only=True)
class Recorded:
    """Which tables a unit keeps, and which of their columns hold anything."""

    tables: frozenset[str]
    columns: frozenset[tuple[str, str]]

    @classmethod
    def of(cls, tables: Mapping[str, pd.DataFrame], given: Collection[str] | None = None) -> Recorded:
        """What some tables hold; `given` names those that the source has, if only with headings."""
        kept = frozenset(name for name, frame in tables.items() if len(frame)) | frozenset(given or ())
        filled = {(name, column) for name, frame in tables.items() for column in frame if frame[column].notna().any()}
        return cls(tables=kept, columns=frozenset(filled))

    def has(self, table: str, *columns: str) -> bool:
        """Whether a table is kept and, of some columns, at least one holds something."""
        return table in self.tables and (not columns or any((table, column) in self.columns for column in columns))

    def without_rows(self, table: str) -> bool:
        """Whether a table is kept and has never had a row: nothing of the kind has happened."""
        return table in self.tables and not any(each == table for each, _ in self.columns)


def nothing_set_aside() -> pd.DataFrame:
    """An empty list of what was set aside."""
    return pd.DataFrame({name: pd.Series(dtype="Int64" if name == "row" else object) for name in SET_ASIDE_COLUMNS})


@dataclass(frozen=True, kw_only=True, eq=False)
class Registry:
    """Nine tidy tables, frozen, with `findings`, `set_aside` and `source`.

    Columns are those of the codebook. Codes are categorical with every code in order; ids are categorical over
    the ids of the table they belong to, in its row order, so `registry.position("scans")` is a row number in
    `patients`; whole numbers and days are Int64, other numbers float64, yes/no boolean, text string.
    `narrowed_to` is the period whose sessions and events `during` kept; "" where all are held. `following` is then
    the day of the patient's next session by session id, as it was before narrowing: ask
    `next_session_days`. `recorded` says what the unit keeps at all, and stays that of the whole registry when it is
    narrowed; `given` names the tables that the source has, rows or none.
    `confirmed` are the sessions whose unlikely amounts a person has looked at: see `confirming`.
    """

    patients: pd.DataFrame
    collections: pd.DataFrame
    sessions: pd.DataFrame
    instrument_uses: pd.DataFrame
    stents: pd.DataFrame
    scans: pd.DataFrame
    reviews: pd.DataFrame
    adverse_events: pd.DataFrame
    other_interventions: pd.DataFrame
    findings: pd.DataFrame = field(default_factory=no_findings)
    set_aside: pd.DataFrame = field(default_factory=nothing_set_aside)
    source: Source = field(default_factory=lambda: Source(name="in memory"))
    narrowed_to: str = ""
    following: pd.Series | None = None
    given: frozenset[str] | None = None
    recorded: Recorded = None
    confirmed: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        if self.recorded is None:
            object.__setattr__(self, "recorded", Recorded.of(self.tables, self.given))

    def __repr__(self) -> str:
        labels = self.periods
        when = f", {labels[0]} to {labels[-1]}" if labels else ""
        return (
            f"Registry: {_count(len(self.patients), 'patient')}, {_count(len(self.sessions), 'session')}{when}, "
            f"{_count(len(self.findings), 'finding')}"
        )

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """The nine tables by name, in the order of the codebook."""
        return {name: getattr(self, name) for name in TABLES}

    @property
    def periods(self) -> tuple[str, ...]:
        """Every period from the first to the last with an index drainage or a session, gaps included."""
        return tuple(self.patients["index_period"].cat.categories)

    def position(self, table: str, of: str = "patients") -> np.ndarray:
        """For each row of `table`, the row number of its patient (or other parent) in `of`; -1 where it names none."""
        return self.tables[table][TABLES[of].key].cat.codes.to_numpy()

    def confirming(self, *session_ids: str) -> Registry:
        """The same registry, the amounts of these sessions, however large, taken as right.

        ChoiceError for an id that no session has.
        """
        known = set(self.sessions["session_id"].astype(object))
        named = {str(each).strip().upper() for each in session_ids}
        if strange := sorted(named - known):
            raise unknown_choice("session", strange[0], sorted(known))
        return replace(self, confirmed=self.confirmed | named)

    def indexed_in(self, period: str) -> Registry:
        """The patients whose index drainage fell in a period ("2026Q3", "2025Q4..2026Q3"), with all that is theirs."""
        return self.select(self.patients["index_period"].isin(self._known(period)).to_numpy())

    def matured(self, days: int) -> Registry:
        """The patients whose day `days` lies before the data lock, with all that is theirs."""
        return self.select((self.patients["observed_days"] >= days).fillna(False).to_numpy(dtype=bool))

    def during(self, period: str) -> Registry:
        """The sessions of a period, their instruments and the events put down to them, and the patients treated in it.

        An event without a session belongs to the period of the last session on or before its day, one before any
        session to the period of the patient's first. The history of those patients (collections, stents, scans,
        reviews, other interventions) stays whole, and so does `next_session_days`.
        """
        inside = self.sessions["period"].isin(self._known(period)).to_numpy()
        held = _rows(self.sessions, inside)
        with_sessions = _among(held["session_id"], self.instrument_uses["session_id"])
        session = session_of_events(self)
        session = np.where(session >= 0, session, _first_sessions(self)[self.position("adverse_events")])
        events = _rows(self.adverse_events, np.append(inside, False)[session])
        uses = _rows(self.instrument_uses, with_sessions)
        narrowed = self._with({"sessions": held, "instrument_uses": uses, "adverse_events": events})
        treated = np.zeros(len(self.patients), dtype=bool)
        treated[self.position("sessions")[inside]] = True
        following = pd.Series(next_session_days(self), index=self.sessions["session_id"].astype(object))
        return replace(narrowed.select(treated), narrowed_to=str(period).strip(), following=following)

    def select(self, patients: np.ndarray) -> Registry:
        """The patients marked True, with all that is theirs; ids keep meaning row numbers of the kept tables."""
        keep = np.asarray(patients, dtype=bool)
        kept = {"patients": _rows(self.patients, keep)}
        for name in list(TABLES)[1:]:
            kept[name] = _rows(self.tables[name], self._belongs(name, keep))
        return self._with(kept)

    def keeping_events(self, kept) -> Registry:
        """The same registry with only the adverse events marked True (E,)."""
        return self._with({"adverse_events": _rows(self.adverse_events, np.asarray(kept, dtype=bool))})

    def _with(self, changed: Mapping[str, pd.DataFrame]) -> Registry:
        return replace(self, **link({**self.tables, **changed}))

    def _belongs(self, table: str, keep: np.ndarray) -> np.ndarray:
        if "patient_id" in self.tables[table].columns:
            return keep[self.position(table)]
        return keep[self.position("sessions")[self.position(table, "sessions")]]

    def _known(self, period: str) -> tuple[str, ...]:
        wanted = periods.parse(period)
        if self.periods and not set(wanted) & set(self.periods):
            raise ChoiceError(f"Nothing in {period}: this registry runs from {self.periods[0]} to {self.periods[-1]}.")
        return wanted


def session_of_events(registry: Registry) -> np.ndarray:
    """For each adverse event the row number of its session: the one named, else the last by its day, else -1."""
    named = registry.position("adverse_events", "sessions").astype(np.int64)
    return np.where(named >= 0, named, sessions_before_events(registry))


def sessions_before_events(registry: Registry) -> np.ndarray:
    """For each adverse event the row number of the patient's last session by its day, whatever it names; else -1."""
    events, sessions = registry.adverse_events, registry.sessions
    if sessions.empty or events.empty:
        return np.full(len(events), -1, dtype=np.int64)
    days = sessions["day"].to_numpy(dtype=np.int64)
    span = np.int64(1 << 20)
    session_key = registry.position("sessions").astype(np.int64) * span + days
    order = np.argsort(session_key, kind="stable")
    event_days = events["day"].to_numpy(dtype=np.int64)
    event_patient = registry.position("adverse_events").astype(np.int64)
    place = np.searchsorted(session_key[order], event_patient * span + event_days, side="right") - 1
    before = np.where(place >= 0, order[place.clip(0)], -1)
    same = registry.position("sessions")[before.clip(0)] == event_patient
    return np.where((before >= 0) & same, before, -1)


def next_session_days(registry: Registry) -> np.ndarray:
    """For each session the day of the patient's next session on a later day, or `NO_DAY`, whatever was narrowed."""
    sessions = registry.sessions
    if registry.following is not None:
        kept = registry.following.reindex(sessions["session_id"].astype(object), fill_value=NO_DAY)
        return kept.to_numpy(dtype=np.int64)
    day, patient = sessions["day"].to_numpy(dtype=np.int64), registry.position("sessions")
    order = np.lexsort((day, patient))
    day, patient = day[order], patient[order]
    starts = np.flatnonzero(np.append(True, (np.diff(day) != 0) | (np.diff(patient) != 0))[: order.size])
    later = np.full(starts.size, NO_DAY)
    same = patient[starts][1:] == patient[starts][:-1]
    later[:-1][same] = day[starts][1:][same]
    following = np.empty(order.size, dtype=np.int64)
    following[order] = np.repeat(later, np.diff(np.append(starts, order.size)))
    return following


def _first_sessions(registry: Registry) -> np.ndarray:
    """For each patient the row number of the first session, -1 where there is none."""
    patient, day = registry.position("sessions"), registry.sessions["day"].to_numpy(dtype=np.int64)
    first = np.full(len(registry.patients), -1, dtype=np.int64)
    order = np.lexsort((day, patient))[::-1]
    first[patient[order]] = order
    return first


def link(tables: Mapping[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """Make every id categorical over the ids of its parent table, and every period over one common span."""
    linked = {name: frame.copy(deep=False) for name, frame in tables.items()}
    keyed = [name for name in tables if TABLES[name].key]
    keys = {name: _row_ids(tables[name][TABLES[name].key]) for name in keyed}
    for name, frame in linked.items():
        for column in TABLES[name].columns:
            if column.kind == "id":
                owner = column.refers_to or name
                frame[column.name] = _categorical(frame[column.name], keys[owner])
    _link_periods(linked)
    return linked


def _link_periods(linked: dict[str, pd.DataFrame]) -> None:
    columns = [(name, column.name) for name in linked for column in TABLES[name].columns if column.kind == "period"]
    seen = {label for name, column in columns for label in linked[name][column].dropna().unique()}
    ordered = sorted(seen, key=periods.ordinal)
    labels = periods.span(ordered[0], ordered[-1]) if ordered else ()
    for name, column in columns:
        linked[name][column] = _categorical(linked[name][column], pd.Index(labels, dtype=object), ordered=True)


def _row_ids(key: pd.Series) -> pd.Index:
    """The ids of a table in row order; those of a key already linked are used again as they are."""
    if isinstance(key.dtype, pd.CategoricalDtype) and np.array_equal(key.cat.codes, np.arange(len(key.cat.categories))):
        return key.cat.categories
    return pd.Index(key.astype(object))


def _categorical(values: pd.Series, categories: pd.Index, ordered: bool = False) -> pd.Series:
    if isinstance(values.dtype, pd.CategoricalDtype):
        if values.cat.categories is categories and values.cat.ordered == ordered:
            return values
        return values.cat.set_categories(categories, ordered=ordered)
    return values.astype(object).astype(pd.CategoricalDtype(categories, ordered=ordered))


def _rows(frame: pd.DataFrame, keep: np.ndarray) -> pd.DataFrame:
    return frame[np.asarray(keep, dtype=bool)].reset_index(drop=True)


def _among(kept_ids: pd.Series, ids: pd.Series) -> np.ndarray:
    return ids.isin(kept_ids).to_numpy()


def _count(number: int, noun: str) -> str:
    return f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s"


def dtype_of(column: Column):
    """The pandas dtype of a column before ids are linked."""
    if column.kind == "code":
        return pd.CategoricalDtype(list(column.codes), ordered=column.ordered)
    return {
        "whole": "Int64",
        "day": "Int64",
        "number": "float64",
        "yes_no": "boolean",
    }.get(column.kind, "string")


def empty_table(table: Table) -> pd.DataFrame:
    """A table with every column of the codebook and no row."""
    return pd.DataFrame({column.name: pd.Series(dtype=dtype_of(column)) for column in table.all_columns})


def registry_from(tables: Mapping[str, pd.DataFrame], **about) -> Registry:
    """A Registry from tables of plain values (missing tables and columns are empty): ids linked, types set.

    The values are taken as they are: use `read_registry` for anything a person typed.
    """
    typed = {name: typed_table(TABLES[name], tables.get(name)) for name in TABLES}
    return Registry(**link(typed), given=frozenset(tables), **about)


def typed_table(table: Table, frame: pd.DataFrame | None) -> pd.DataFrame:
    """A frame with the codebook's columns in order and their dtypes; columns it lacks are blank."""
    if frame is None:
        return empty_table(table)
    index = pd.RangeIndex(len(frame))
    given = {
        column.name: (
            pd.Series(frame[column.name].to_numpy(dtype=object, na_value=pd.NA), index=index)
            if column.name in frame.columns
            else pd.Series(pd.NA, index=index, dtype=object)
        )
        for column in table.all_columns
    }
    return pd.DataFrame(
        {name: _as(values, dtype_of(table.column(name))) for name, values in given.items()}, index=index
    )


def _as(values: pd.Series, dtype) -> pd.Series:
    return pd.to_numeric(values, errors="raise").astype("float64") if dtype == "float64" else values.astype(dtype)
