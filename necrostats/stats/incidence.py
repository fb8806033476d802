"""Kaplan–Meier and Aalen–Johansen curves with their errors, from counts, for every group and cause at once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from necrostats.errors import StatisticsError
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.curves import CumulativeIncidence, Survival
from necrostats.stats.event_tables import EventTable, event_table
from necrostats.stats.reading_curves import at, quantile
from necrostats.stats.transforms import limits

__all__ = [
    "CumulativeIncidence", "Survival", "aalen_johansen", "aalen_johansen_of", "at", "kaplan_meier", "kaplan_meier_of",
    "quantile",
]  # fmt: skip

ROUNDING = 1e-12


def kaplan_meier(
    time: ArrayLike,
    event: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    group: ArrayLike | None = None,
    groups: Sequence | None = None,
    weights: ArrayLike | None = None,
    level: float = 0.95,
    transform: str = "log-log",
) -> Survival:
    """Product-limit estimate with Greenwood's error; one row a subject, `event` true or false, others as event_table.

    `transform`: log-log, log, plain, logit or arcsin, as R's survfit. `weights` count subjects (frequencies).
    Kaplan EL, Meier P. J Am Stat Assoc 1958;53:457-481. Raises StatisticsError as event_table does.
    """
    happened = checks.codes("event", event)
    if happened.max(initial=0) > 1:
        raise StatisticsError("event must be yes or no, 1 or 0. For several causes use aalen_johansen.")
    table = event_table(time, happened, entry=entry, group=group, causes=(1,), groups=groups, weights=weights)
    return kaplan_meier_of(table, level=level, transform=transform)


def aalen_johansen(
    time: ArrayLike,
    cause: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    group: ArrayLike | None = None,
    causes: Sequence | None = None,
    groups: Sequence | None = None,
    weights: ArrayLike | None = None,
    level: float = 0.95,
) -> CumulativeIncidence:
    """Cumulative incidence with competing causes; one row a subject, arguments as event_table.

    Delta-method error (Marubini E, Valsecchi MG 1995; Gaynor JJ et al. J Am Stat Assoc 1993;88:400-409), equal to the
    infinitesimal jackknife; limits symmetric in log(−log(incidence)). Aalen OO, Johansen S. Scand J Stat 1978;5:141-150.
    """
    table = event_table(time, cause, entry=entry, group=group, causes=causes, groups=groups, weights=weights)
    return aalen_johansen_of(table, level=level)


def kaplan_meier_of(table: EventTable, *, level: float = 0.95, transform: str = "log-log") -> Survival:
    """The curve of an EventTable, an event of any cause ending it."""
    level = checks.confidence_level(level)
    died, risk = table.all_events, table.at_risk
    free = _event_free(table)
    error = np.where(free > 0, free * np.sqrt(np.cumsum(_over(died, risk * (risk - died)), axis=-1)), np.nan)
    band = limits(free, error, level, transform)
    unknown = _unobserved(table, free)
    return Survival(
        table=table,
        level=level,
        estimate=np.where(unknown, np.nan, free),
        std_error=np.where(unknown, np.nan, error),
        low=np.where(unknown, np.nan, np.where(free == 1, 1.0, band.low)),
        high=np.where(unknown, np.nan, np.where(free == 1, 1.0, band.high)),
        notes=_notes(table, free),
    )


def aalen_johansen_of(table: EventTable, *, level: float = 0.95) -> CumulativeIncidence:
    """The curves of an EventTable."""
    level = checks.confidence_level(level)
    free = _event_free(table)
    before = np.concatenate([np.ones((len(free), 1)), free[:, :-1]], axis=1)[:, : free.shape[1]]
    step = before[:, None] * _over(table.events, table.at_risk[:, None])
    incidence = np.cumsum(step, axis=-1)
    error = np.sqrt(_delta_variance(table, before, step))
    band = limits(incidence, error, level, "log-log")
    unknown = _unobserved(table, free)
    each = unknown[:, None]
    return CumulativeIncidence(
        table=table,
        level=level,
        estimate=np.where(each, np.nan, incidence),
        std_error=np.where(each, np.nan, error),
        low=np.where(each, np.nan, band.low),
        high=np.where(each, np.nan, band.high),
        event_free=np.where(unknown, np.nan, free),
        notes=_notes(table, free),
    )


def _event_free(table: EventTable) -> np.ndarray:
    return np.cumprod(1 - _over(table.all_events, table.at_risk), axis=-1)


def _delta_variance(table: EventTable, before: np.ndarray, step: np.ndarray) -> np.ndarray:
    """Σ(F−Fⱼ)² dⱼ/nⱼ(nⱼ−dⱼ) + Σ S² dₖ(nⱼ−dₖ)/nⱼ³ − 2 Σ(F−Fⱼ) S dₖ/nⱼ², by running sums whose terms are all positive.

    With aⱼ = dⱼ/nⱼ(nⱼ−dⱼ) and F growing by f: Σ(F−Fⱼ)aⱼ grows by f Σa, and Σ(F−Fⱼ)²aⱼ by 2f Σ(F−Fⱼ)aⱼ + f² Σa.
    """
    risk, died = table.at_risk, table.all_events
    hazard = _running(_over(died, risk * (risk - died)))[:, None]
    linear = step * hazard
    square = np.cumsum(2 * step * _running(linear) + step * linear, axis=-1)
    share = _over(table.events, risk[:, None])
    own = np.cumsum(step * before[:, None] * _over(1 - share, risk[:, None]), axis=-1)
    cross = np.cumsum(step * _running(_over(step, risk[:, None])), axis=-1)
    variance = square + own - 2 * cross
    return np.where(variance > ROUNDING * (square + own), variance, 0.0)


def _running(terms: np.ndarray) -> np.ndarray:
    """The sum of all earlier terms."""
    return np.cumsum(terms, axis=-1) - terms


def _over(top: np.ndarray, bottom: np.ndarray) -> np.ndarray:
    """top / bottom, and 0 where bottom is 0: nobody is at risk, or nobody is left."""
    top, bottom = np.broadcast_arrays(top, bottom)
    return np.divide(top, bottom, out=np.zeros(top.shape), where=bottom > 0)


def _unobserved(table: EventTable, free: np.ndarray) -> np.ndarray:
    """Times after the last at which the group was observed, and groups with nobody."""
    return (np.arange(table.time.size) > table.last_observed[:, None]) & (free > 0)


def _notes(table: EventTable, free: np.ndarray) -> tuple[Note, ...]:
    if not free.size or not table.entered.any():
        return ()
    emptied = (free == 0) & (np.cumsum(table.entered[:, ::-1], axis=1)[:, ::-1] > 0)
    return tuple(
        Note(
            code="SMALL_RISK_SET",
            text=f"Group {table.groups[group]}: everyone under observation had an event by time "
            f"{table.time[np.argmax(emptied[group])]:g}, before others entered; the curve cannot recover and misleads.",
        )
        for group in np.flatnonzero(emptied.any(axis=1))
    )
