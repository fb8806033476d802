"""From a registry at its lock to the same registry today, in steps, and what each step does to each figure.

Every step takes over one kind of difference; the last is that time has passed. A figure is followed patient by patient:
each patient's part in a quarter gets a period of its own, so that one count of an indicator gives all parts at once.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from necrostats.definitions.indicators import Indicator
from necrostats.measures.indicators import counted
from necrostats.registry import periods
from necrostats.registry.codebook import TABLES
from necrostats.registry.comparing import ADDED, CHANGED, REMOVED, Tables, Versions, patients_of
from necrostats.registry.tables import Recorded, Registry, link

CORRECTED, MATURED = "corrected", "matured"
TIME = ("patients", "observed_days")
_NEWS = {("patients", "vital_status"): "alive", ("stents", "end_reason"): "in_place"}
"""What a value says as long as nothing has happened: another one later is news and corrects nothing."""
_QUARTERS = {"patients": "index_period", "sessions": "period"}

Part = tuple[str, str]


@dataclass(frozen=True, kw_only=True, eq=False)
class Step:
    """One kind of difference taken over: `reason`, and the differences (rows of `Versions.differences`)."""

    reason: str
    differences: pd.DataFrame

    @property
    def table(self) -> str:
        """The table that it is about."""
        return self.differences["table"].iat[0]

    def one_each(self) -> Iterator[Step]:
        """The step in smaller ones, with one difference of each patient in each."""
        rank = self.differences.groupby("patient").cumcount()
        return (replace(self, differences=self.differences[rank == place]) for place in range(rank.max() + 1))

    def taken(self, state: Tables, towards: Tables) -> Tables:
        """The tables after the step."""
        frame, labels = state[self.table], self.differences["record"]
        kind, column = self.differences["kind"].iat[0], self.differences["column"].iat[0]
        if kind == ADDED:
            changed = pd.concat([frame, towards[self.table].loc[labels].astype(frame.dtypes)])
        elif kind == REMOVED:
            changed = frame.drop(index=labels)
        else:
            changed = frame.copy()
            changed.loc[labels, column] = towards[self.table].loc[labels, column]
        return {**state, self.table: changed}


def steps(differences: pd.DataFrame) -> list[Step]:
    """Every kind of difference: records added, values filled in or corrected, records removed, time passed.

    Later contact alone explains least, so of values filled in those of patients come last.
    """
    reason = _reasons(differences)
    kinds = differences.assign(reason=reason)
    last_of_all = [name for name in TABLES if name != TIME[0]] + [TIME[0]]
    order = [(ADDED, ADDED, name) for name in TABLES] + [(ADDED, CHANGED, name) for name in last_of_all]
    order += [(CORRECTED, CHANGED, name) for name in TABLES] + [(REMOVED, REMOVED, name) for name in reversed(TABLES)]
    order += [(MATURED, CHANGED, TIME[0])]
    return [
        Step(reason=reason, differences=part.drop(columns="reason"))
        for reason, kind, table in order
        for _, part in kinds[(kinds["reason"] == reason) & (kinds["kind"] == kind) & (kinds["table"] == table)].groupby(
            "column", sort=False
        )
    ]


def _reasons(differences: pd.DataFrame) -> np.ndarray:
    place = list(zip(differences["table"], differences["column"], strict=True))
    later = pd.to_numeric(differences["now"], errors="coerce") > pd.to_numeric(differences["was"], errors="coerce")
    news = np.array([_NEWS.get(each) == was for each, was in zip(place, differences["was"], strict=True)], dtype=bool)
    seen = np.array([each[1] == "last_contact_day" for each in place], dtype=bool)
    news |= (differences["was"] == "").to_numpy() | (seen & later.to_numpy())
    reason = np.where(differences["kind"] == CHANGED, np.where(news, ADDED, CORRECTED), differences["kind"])
    return np.where(_time_passed(differences, place), MATURED, reason)


def _time_passed(differences: pd.DataFrame, place: Sequence[tuple[str, str]]) -> np.ndarray:
    """Whether days were observed that all share; a patient with another difference was corrected."""
    observed = np.array([each == TIME for each in place], dtype=bool)
    passed = pd.to_numeric(differences["now"].where(observed)) - pd.to_numeric(differences["was"].where(observed))
    common = passed.mode()
    return observed & (passed == common.max()).to_numpy() & (passed > 0).to_numpy() if len(common) else observed


@dataclass(frozen=True, kw_only=True, eq=False)
class Parts:
    """The parts (K) that patients have in some quarters of one indicator."""

    indicator: Indicator
    parts: tuple[Part, ...]
    recorded: Recorded

    @classmethod
    def of(cls, both: Versions, indicator: Indicator, quarters: Collection[str]) -> Parts:
        """All that can have a part, then or now."""
        found = {each for tables in (both.then, both.now) for each in _parts_in(tables) if each[1] in quarters}
        return cls(indicator=indicator, parts=tuple(sorted(found)), recorded=both.recorded)

    def counts(self, tables: Tables) -> np.ndarray:
        """Events and denominator of each part (K, 2)."""
        label = {part: f"P{place:02d}" for place, part in enumerate(self.parts)}
        told = {**tables, **{name: _relabelled(tables, name, label) for name in _QUARTERS}}
        linked = link({name: frame.reset_index(drop=True) for name, frame in told.items()})
        registry = Registry(**linked, recorded=self.recorded)
        place = [periods.ordinal(each) for each in registry.periods]
        found, held = np.zeros((len(self.parts), 2), dtype=np.int64), counted(registry, self.indicator)
        found[place, 0], found[place, 1] = held.events, held.n
        return found


def _parts_in(tables: Tables) -> Iterator[Part]:
    for name, column in _QUARTERS.items():
        frame = tables[name]
        held = frame[column].notna()
        yield from zip(patients_of(tables, name)[held], frame.loc[held, column], strict=True)


def _relabelled(tables: Tables, name: str, label: Mapping[Part, str]) -> pd.DataFrame:
    column = _QUARTERS[name]
    owned = zip(patients_of(tables, name), tables[name][column], strict=True)
    return tables[name].assign(**{column: [label.get(each) for each in owned]})


@dataclass(frozen=True, kw_only=True, eq=False)
class Effect:
    """What a step did to the parts: `change` (K, 2)."""

    step: Step
    change: np.ndarray


def effects(both: Versions, parts: Parts) -> tuple[list[Effect], np.ndarray]:
    """Each step that changes any part, one by one where a patient has several of a kind; and what they leave (K, 2).

    They add up to the whole change where they leave nothing.
    """
    found: list[Effect] = []
    _, end = _walked(steps(both.differences), both.then, parts.counts(both.then), both.now, parts, found)
    return found, parts.counts(both.now) - end


def _walked(
    way: Sequence[Step], state: Tables, before: np.ndarray, towards: Tables, parts: Parts, found: list[Effect]
) -> tuple[Tables, np.ndarray]:
    """The tables and parts at the end of a way; a way that changes no part is not looked at step by step."""
    end = state
    for step in way:
        end = step.taken(end, towards)
    after = parts.counts(end)
    if (after == before).all():
        return end, after
    smaller = list(way[0].one_each()) if len(way) == 1 else way
    if len(smaller) == 1:
        found.append(Effect(step=smaller[0], change=after - before))
        return end, after
    half = len(smaller) // 2
    middle = _walked(smaller[:half], state, before, towards, parts, found)
    return _walked(smaller[half:], *middle, towards, parts, found)


def only_patients(both: Versions, patients: Collection[str]) -> Versions:
    """The records and differences of some patients."""
    kept = {
        side: {name: frame[patients_of(tables, name).isin(patients).to_numpy()] for name, frame in tables.items()}
        for side, tables in (("then", both.then), ("now", both.now))
    }
    differences = both.differences[both.differences["patient"].isin(patients)]
    return replace(both, then=kept["then"], now=kept["now"], differences=differences)
