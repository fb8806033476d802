"""What cells say that gave no line of the ledger of their own: the field, the value, and what became of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.registry.columns import LATEST
from necrostats.registry.export.readings import Reading
from necrostats.registry.export.spreading import spread
from necrostats.registry.written import objects

VALUE, UNKNOWN, SET_ASIDE = "value", "unknown", "set aside"


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Said:
    """Lines (n,): the cell (its place among the N) that each is about, the field and the value."""

    row: np.ndarray
    field: np.ndarray
    value: np.ndarray


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Told:
    """N cells of one column: the rule that read each, why it is withheld, and the lines that it says."""

    rule: np.ndarray
    withheld: np.ndarray
    lines: tuple[Said, ...]
    _outcomes: tuple[np.ndarray, np.ndarray]

    @classmethod
    def of(cls, readings: Sequence[Reading], which: np.ndarray, target: str, day_0: np.ndarray) -> Told:
        """From the readings of a column, the one of each cell, its target, and the patient's day 0 (NaN: unknown)."""
        used, which = np.unique(which, return_inverse=True)
        read = [readings[each] for each in used.tolist()]
        dated = np.array([each.date is not None and each.date.known for each in read], dtype=bool)[which]
        dated &= day_0 == day_0
        days, others = np.flatnonzero(dated), np.flatnonzero(~dated)
        return cls(
            rule=objects([each.rule for each in read])[which],
            withheld=np.array([each.withheld for each in read], dtype=np.int8)[which],
            lines=(*_days(read, which, target, day_0, days), _fills(read, which, target, others)),
            _outcomes=(_outcomes(read, gone=False)[which], _outcomes(read, gone=True)[which]),
        )  # fmt: skip

    def outcome(self, gone: np.ndarray) -> np.ndarray:
        """What became of each cell, by whether its patient (N,) was set aside."""
        return np.where(gone, self._outcomes[1], self._outcomes[0])


def _outcomes(read: Sequence[Reading], *, gone: bool) -> np.ndarray:
    return objects([_outcome(each, gone) for each in read])


def _outcome(reading: Reading, gone: bool) -> str:
    if reading.problem or (gone and reading.says_something):
        return SET_ASIDE
    return VALUE if reading.says_something else UNKNOWN


def _days(
    read: Sequence[Reading], which: np.ndarray, target: str, day_0: np.ndarray, rows: np.ndarray
) -> tuple[Said, ...]:
    """The day a date says, and a second line with the last day it can be."""
    dates = [each.date for each in read]
    first, last = (
        np.array([getattr(each, end).toordinal() if each and each.known else np.nan for each in dates])[which[rows]]
        for end in ("first", "last")
    )
    ranged = first != last
    return (
        _said(rows, target, first - day_0[rows]),
        _said(rows[ranged], target + LATEST, (last - day_0[rows])[ranged]),
    )


def _said(rows: np.ndarray, field: str, days: np.ndarray) -> Said:
    number, different = pd.factorize(days)
    texts = objects([f"{day:.0f}" for day in different])
    return Said(row=rows, field=np.full(len(rows), field, dtype=object), value=texts[number])


def _fills(read: Sequence[Reading], which: np.ndarray, target: str, rows: np.ndarray) -> Said:
    """What a cell fills; one line without a value if it fills nothing."""
    each = [list(reading.fills.items()) or [(target, "")] for reading in read]
    lengths = np.array([len(fills) for fills in each], dtype=np.int64)
    flat, start = [pair for fills in each for pair in fills], np.cumsum(lengths) - lengths
    lines = spread(lengths[which[rows]])
    place = start[which[rows]][lines.row] + lines.rank
    return Said(
        row=rows[lines.row], field=objects([field for field, _ in flat])[place],
        value=objects([value for _, value in flat])[place],
    )  # fmt: skip
