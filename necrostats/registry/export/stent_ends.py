"""Rows of a log that say that stents came out: which stents they end, and which of them end none.

Open is a stent that was placed before that day and has no end of its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from necrostats.registry.export.layout import RowsLayout
from necrostats.registry.export.table_drafts import Made, Making, Mark, without
from necrostats.registry.reading import count

_ENDS = ("removed_day", "removed_day_latest", "end_reason")
_NAMING = ("stent_type", "diameter_mm", "caliber_fr")
_REMOVALS = ("stent_removal",)
_OF_ONE = ("migrated", "occluded", "bleeding", "buried")  # reasons that may be those of one among several stents


def days_of(made: Made, column: str) -> np.ndarray:
    """A column of days (N,) as float, NaN where none is known."""
    return pd.to_numeric(pd.Series(made.text(column).plain()), errors="coerce").to_numpy(dtype=float)


def placed_days(stents: Made, sessions: Made) -> np.ndarray:
    """The day (N,) each stent was placed, or that of its session; NaN where neither is known."""
    own, held = days_of(stents, "placed_day"), days_of(sessions, "day")
    return np.where(np.isnan(own), np.append(held, np.nan)[stents.parent], own)


def enders(stents: Made, makers: Sequence[RowsLayout]) -> np.ndarray:
    """Rows (N,) that are no stent but the end of some."""
    return np.isin(stents.maker, [number for number, rows in enumerate(makers) if rows.ends_stents])


def with_ends(making: Making, makers: Sequence[RowsLayout]) -> Making:
    """The stents with the ends that rows of their own give them; a row that ends none stays, marked to be set aside."""
    stents = making.tables["stents"]
    ending = enders(stents, makers)
    if ending.any():
        stents = _Ending(stents, ending, placed_days(stents, making.tables["sessions"])).done()
    sessions = making.tables["sessions"]
    return making.with_tables(stents=stents, sessions=sessions.with_marks(*_not_read(sessions, stents)))


@dataclass(frozen=True, kw_only=True)
class _Found:
    """The stents (rows) that a row ends, or why it ends none."""

    rows: np.ndarray
    problem: str = ""


_NONE = np.empty(0, dtype=np.int64)


class _Ending:
    """Ends stents by the rows that say so, the earliest first."""

    def __init__(self, stents: Made, ending: np.ndarray, placed: np.ndarray) -> None:
        self.stents, self.ending, self.placed = stents, ending, placed
        self.day = days_of(stents, "removed_day")
        self.open = ~ending & ~stents.text("removed_day").filled & ~stents.text("end_reason").filled
        self.named = [stents.text(name).plain() for name in _NAMING]
        self.own = stents.text("stent").plain()
        self.by: list[tuple[int, np.ndarray]] = []
        self.lost: list[tuple[int, str]] = []

    def done(self) -> Made:
        """The stents, with their ends."""
        rows = np.flatnonzero(self.ending)
        order = rows[np.lexsort((self.day[rows], self.stents.person[rows]))]
        for alike in self._alike(order):
            found = self._found(alike)
            self.open[found.rows] = False
            if found.problem:
                self.lost += [(row, found.problem) for row in alike]
            else:
                self.by += [(row, found.rows) for row in alike]
        return self._written()

    def _alike(self, rows: np.ndarray) -> Iterator[list[int]]:
        """Rows made of one row of the export that name stents of one kind: as many as they are, they end."""
        found: dict[tuple, list[int]] = {}
        for row in rows.tolist():
            made = self.stents
            key = (made.sheet[row], made.at[row], made.maker[row], self.own[row], *(each[row] for each in self.named))
            found.setdefault(key, []).append(row)
        yield from found.values()

    def _found(self, alike: list[int]) -> _Found:
        row = alike[0]
        if self.own[row]:
            return self._by_id(row)
        if np.isnan(self.day[row]):
            return _Found(rows=_NONE, problem="ends stents on a day that is not known, so none is ended by it")
        theirs = self.stents.person == self.stents.person[row]
        fits = theirs & self.open & (self.placed < self.day[row])
        asked = [each for each in self.named if each[row]]
        for each in asked:
            fits &= (each == each[row]) | (each == "")
        rows = np.flatnonzero(fits)
        if not len(rows):
            return _Found(rows=_NONE, problem="ends a stent, and none such that it could mean was in by then")
        if asked and len(rows) != len(alike):
            problem = f"ends {count(len(alike), 'stent', 'stents')}, and {len(rows)} such were in by then"
            return _Found(rows=_NONE, problem=problem)
        return _Found(rows=rows)

    def _by_id(self, row: int) -> _Found:
        same = (self.stents.person == self.stents.person[row]) & (self.own == self.own[row]) & ~self.ending
        rows = np.flatnonzero(same)
        if len(rows) != 1:
            return _Found(rows=_NONE, problem="names a stent that is none of the patient's, or more than one")
        if not self.open[rows[0]]:
            return _Found(rows=_NONE, problem="ends a stent that has an end already")
        return _Found(rows=rows)

    def _written(self) -> Made:
        made = self.stents
        for row, ended in self.by:
            for name in _ENDS:
                if made.text(name).filled[row]:
                    made = _copied(made, name, row, ended)
        lost = np.array([row for row, _ in self.lost], dtype=np.int64)
        of_one = made.text("end_reason").among(_OF_ONE)
        several = np.array([each for row, ended in self.by if len(ended) > 1 and of_one[row] for each in ended], int)
        made = made.with_marks(
            Mark(
                rule="WHICH_STENT",
                at=several,
                column="end_reason",
                severity="stops",
                takes="cell",
                problem="gives a reason that may be that of one stent, and several came out",
                origin=made.origin("end_reason").take(several),
                remedy="Give that stent a row of its own, which names its type. The day stands for all of them.",
            ),
            Mark(
                rule="STENT_END",
                at=lost,
                column="removed_day",
                severity="stops",
                takes="row",
                problem=np.array([problem for _, problem in self.lost], dtype=object),
                origin=made.origin("removed_day").take(lost),
                remedy="Say which stent is meant, or add the stent where it was placed.",
            ),
        )
        return without(made, {row: int(ended[0]) for row, ended in self.by})


def _copied(made: Made, name: str, row: int, to: np.ndarray) -> Made:
    """The table with what one row says of a column in others, too, as from the same cell."""
    source = np.full(len(to), row)
    made = made.with_text(name, to, made.text(name).take(source))
    origin = made.origin(name).put(to, made.origin(name).take(source))
    return replace(made, origins={**made.origins, name: origin})


def _not_read(sessions: Made, stents: Made) -> Iterator[Mark]:
    """Sessions in which stents came out while those of the patient have no end: said once, at the first of them."""
    endless = ~stents.text("removed_day").filled & ~stents.text("end_reason").filled
    placed = placed_days(stents, sessions)
    first = pd.Series(placed[endless]).groupby(stents.person[endless]).min()
    day = days_of(sessions, "day")
    removals = sessions.text("session_type").among(_REMOVALS)
    at = np.flatnonzero(removals & (first.reindex(sessions.person).to_numpy(dtype=float) < day))
    if len(at):
        yield Mark(
            rule="REMOVAL_NOT_READ",
            at=at[:1],
            column="session_type",
            severity="asks",
            problem=f"is one of {count(len(at), 'removal', 'removals')} of stents after which a stent of the patient "
            "is still without an end",
            origin=sessions.origin("session_type").take(at[:1]),
            remedy="Map the day on which a stent was removed, or let these rows end the stents: a group of rows with "
            'table = "stents" and ends_stents = true.',
        )
