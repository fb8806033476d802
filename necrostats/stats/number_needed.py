"""How many patients it takes for one event less, or one more: the reciprocal of a difference, with its limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from necrostats.results import Note
from necrostats.stats.comparisons.risk_difference import risk_difference


@dataclass(frozen=True, kw_only=True, eq=False)
class NumberNeeded:
    """`estimate` is signed as the difference: positive, so many patients for one event more; negative, for one less.

    Where the difference may go either way (`either_way`), the values that the data allow are not those between `low`
    and `high` but those beyond them: from `low` through infinity to `high`.
    """

    estimate: float
    low: float
    high: float
    either_way: bool
    method: str
    notes: tuple[Note, ...] = ()


def number_needed(
    events: float, n: float, events_ref: float, n_ref: float, *, level: float = 0.95, method: str = "miettinen-nurminen"
) -> NumberNeeded:
    """The number needed for one event more in the group than in its reference, and its limits.

    They are the reciprocals of those of the risk difference by `method`. Altman DG. BMJ 1998;317:1309-1312. A
    difference of exactly 0 gives an infinite number; an empty group NaN and a note.
    """
    found = risk_difference(events, n, events_ref, n_ref, level=level, method=method)
    either_way = bool(found.low < 0 < found.high)
    limits = sorted(map(_reciprocal, (found.low, found.high)))
    notes = found.notes
    if either_way:
        text = "The difference may go either way: the number needed runs through infinity, from one limit to the other."
        notes = (*notes, Note(code="NO_LIMITS", text=text))
    return NumberNeeded(
        estimate=_reciprocal(found.estimate),
        low=limits[0],
        high=limits[1],
        either_way=either_way,
        method=f"reciprocal of the risk difference ({found.method})",
        notes=notes,
    )


def _reciprocal(difference: float) -> float:
    return float(1 / difference) if difference else float(np.inf) if difference == 0 else float("nan")
