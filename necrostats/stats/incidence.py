"""Kaplan–Meier and Aalen–Johansen curves with their errors, from counts, for every group and cause at once.

Errors of curves when subjects come in clusters: each subject's influence on the curve, summed by cluster.

The products behind every curve: shares free of events, and shares with an event of each cause, from counts.

How long a series was followed: the reverse Kaplan–Meier median.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special, stats

from necrostats.errors import StatisticsError
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.curves import CumulativeIncidence, Quantile, Survival, at, quantile
from necrostats.stats.event_tables import EventTable, event_table, over
from necrostats.stats.intervals import FEW, few_clusters, limits, places


def survival_error(counts: EventTable) -> np.ndarray:
    """Error (T,) of the event-free share of all clusters together; `counts` has a group for each cluster.

    The infinitesimal jackknife: a cluster's influence on S(t) is −S(t) Σ dM/(n−d), with dM = d of the cluster − its
    number at risk × d/n. NaN where S is 0.
    """
    free = np.cumprod(1 - over(counts.all_events.sum(axis=0), counts.at_risk.sum(axis=0)))
    influence = free * np.cumsum(_surplus_over_left(counts), axis=-1)
    return np.where(free > 0, _spread(influence), np.nan)


def incidence_error(counts: EventTable) -> np.ndarray:
    """Error (C, T) of the incidence of all clusters together, by the infinitesimal jackknife.

    A cluster's influence on F(t) is Σ S dMₖ/n − Σ (F(t) − F) dM/(n−d) over times up to t.
    """
    risk, died = counts.at_risk.sum(axis=0), counts.all_events.sum(axis=0)
    share = over(counts.events.sum(axis=0), risk)
    before = np.concatenate([[1.0], np.cumprod(1 - over(died, risk))])[: risk.size]
    incidence = np.cumsum(before * share, axis=-1)
    surplus = counts.events - counts.at_risk[:, None] * share
    lost = _surplus_over_left(counts)[:, None]
    own = np.cumsum(over(before * surplus, risk), axis=-1)
    through_others = incidence * np.cumsum(lost, axis=-1) - np.cumsum(incidence * lost, axis=-1)
    return _spread(own - through_others)


def _surplus_over_left(counts: EventTable) -> np.ndarray:
    """dM/(n−d) of each cluster (P, T): its events beyond its share of the risk, over those left at risk."""
    risk, died = counts.at_risk.sum(axis=0), counts.all_events.sum(axis=0)
    return over(counts.all_events - counts.at_risk * over(died, risk), risk - died)


def _spread(influence: np.ndarray) -> np.ndarray:
    return np.sqrt(np.sum(influence**2, axis=0))


def event_free(table: EventTable) -> np.ndarray:
    """The share free of any event just after each time (G, T): the product-limit estimate."""
    return np.cumprod(1 - over(table.all_events, table.at_risk), axis=-1)


def just_before(free: np.ndarray) -> np.ndarray:
    """The share free of events just before each time (G, T), from the share just after."""
    return np.concatenate([np.ones((len(free), 1)), free[:, :-1]], axis=1)[:, : free.shape[1]]


def incidence_shares(table: EventTable, free: np.ndarray) -> np.ndarray:
    """The share with an event of each cause by each time (G, C, T): the Aalen–Johansen estimate."""
    return np.cumsum(just_before(free)[:, None] * over(table.events, table.at_risk[:, None]), axis=-1)


__all__ = [
    "CumulativeIncidence",
    "Survival",
    "aalen_johansen",
    "aalen_johansen_of",
    "at",
    "kaplan_meier",
    "kaplan_meier_of",
    "quantile",
]

ROUNDING = 1e-12


def kaplan_meier(
    time: ArrayLike,
    event: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    group: ArrayLike | None = None,
    groups: Sequence | None = None,
    weights: ArrayLike | None = None,
    cluster: ArrayLike | None = None,
    level: float = 0.95,
    transform: str = "log-log",
) -> Survival:
    """Product-limit estimate with Greenwood's error; one row a subject, `event` true or false, others as event_table.

    `transform`: log-log, log, plain, logit or arcsin, as R's survfit. `weights` count subjects (frequencies).
    `cluster` (a label a row): the error sums influence by cluster instead (infinitesimal jackknife).
    Kaplan EL, Meier P. J Am Stat Assoc 1958;53:457-481. Raises StatisticsError as event_table does.
    """
    happened = checks.codes("event", event)
    if happened.max(initial=0) > 1:
        raise StatisticsError("event must be yes or no, 1 or 0. For several causes use aalen_johansen.")
    table = event_table(time, happened, entry=entry, group=group, causes=(1,), groups=groups, weights=weights)
    if cluster is None:
        return kaplan_meier_of(table, level=level, transform=transform)
    counts = _by_cluster(table, time, happened, cluster, entry=entry, group=group, weights=weights)
    error = np.stack([survival_error(each) for each in counts])
    return _survival(table, error, level, transform, _few(counts))


def aalen_johansen(
    time: ArrayLike,
    cause: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    group: ArrayLike | None = None,
    causes: Sequence | None = None,
    groups: Sequence | None = None,
    weights: ArrayLike | None = None,
    cluster: ArrayLike | None = None,
    level: float = 0.95,
) -> CumulativeIncidence:
    """Cumulative incidence with competing causes; one row a subject, arguments as event_table and kaplan_meier.

    Delta-method error (Marubini E, Valsecchi MG 1995; Gaynor JJ et al. J Am Stat Assoc 1993;88:400-409): without late
    entry equal to the infinitesimal jackknife, with it the Greenwood type, as R's etm. R's survfit takes the jackknife
    there too: `cluster` with a label of its own for every row. Limits symmetric in log(−log(incidence)).
    Aalen OO, Johansen S. Scand J Stat 1978;5:141-150. Raises StatisticsError as event_table does.
    """
    table = event_table(time, cause, entry=entry, group=group, causes=causes, groups=groups, weights=weights)
    if cluster is None:
        return aalen_johansen_of(table, level=level)
    counts = _by_cluster(table, time, cause, cluster, entry=entry, group=group, weights=weights)
    error = np.stack([incidence_error(each) for each in counts])
    return _incidence(table, error, level, _few(counts))


def kaplan_meier_of(table: EventTable, *, level: float = 0.95, transform: str = "log-log") -> Survival:
    """The curve of an EventTable, an event of any cause ending it."""
    died, risk = table.all_events, table.at_risk
    free = event_free(table)
    error = np.where(free > 0, free * np.sqrt(np.cumsum(over(died, risk * (risk - died)), axis=-1)), np.nan)
    return _survival(table, error, level, transform)


def aalen_johansen_of(table: EventTable, *, level: float = 0.95) -> CumulativeIncidence:
    """The curves of an EventTable."""
    before = just_before(event_free(table))
    step = before[:, None] * over(table.events, table.at_risk[:, None])
    return _incidence(table, np.sqrt(_delta_variance(table, before, step)), level)


def _survival(
    table: EventTable, error: np.ndarray, level: float, transform: str, notes: tuple[Note, ...] = ()
) -> Survival:
    free = event_free(table)
    band = limits(free, error, checks.confidence_level(level), transform)
    unknown = _unobserved(table, free)
    return Survival(
        table=table,
        level=level,
        estimate=np.where(unknown, np.nan, free),
        std_error=np.where(unknown, np.nan, error),
        low=np.where(unknown, np.nan, np.where(free == 1, 1.0, band.low)),
        high=np.where(unknown, np.nan, np.where(free == 1, 1.0, band.high)),
        notes=notes + _emptied(table, free),
    )


def _incidence(table: EventTable, error: np.ndarray, level: float, notes: tuple[Note, ...] = ()) -> CumulativeIncidence:
    free = event_free(table)
    incidence = incidence_shares(table, free)
    band = limits(incidence, error, checks.confidence_level(level), "log-log")
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
        notes=notes + _emptied(table, free),
    )


def _by_cluster(table: EventTable, time, cause, cluster, *, entry, group, weights) -> list[EventTable]:
    """For each group of `table` the same counts by cluster, on the same times."""
    checks.one_length(time=time, cluster=cluster)
    whose = places(checks.labels("cluster", cluster))
    when, since = (
        None if each is None else checks.snapped(checks.times(name, each), table.time)
        for name, each in (("time", time), ("entry", entry))
    )
    rows = [None if each is None else np.asarray(each) for each in (when, cause, since, weights)]

    def counts(chosen: np.ndarray) -> EventTable:
        when, which, since, share = (None if each is None else each[chosen] for each in rows)
        label = places(whose[chosen])
        return event_table(when, which, entry=since, weights=share, group=label, causes=table.causes).with_times(
            table.time
        )

    if group is None:
        return [counts(np.ones(whose.size, dtype=bool))]
    label = np.asarray(group)
    return [counts(label == name) for name in table.groups]


def _few(counts: list[EventTable]) -> tuple[Note, ...]:
    """The note on few clusters, for the group with fewest (a group with nobody has nothing to cluster)."""
    return few_clusters(min((each.groups.size for each in counts if each.groups.size), default=FEW))


def _delta_variance(table: EventTable, before: np.ndarray, step: np.ndarray) -> np.ndarray:
    """Σ(F−Fⱼ)² dⱼ/nⱼ(nⱼ−dⱼ) + Σ S² dₖ(nⱼ−dₖ)/nⱼ³ − 2 Σ(F−Fⱼ) S dₖ/nⱼ², by running sums whose terms are all positive.

    With aⱼ = dⱼ/nⱼ(nⱼ−dⱼ) and F growing by f: Σ(F−Fⱼ)aⱼ grows by f Σa, and Σ(F−Fⱼ)²aⱼ by 2f Σ(F−Fⱼ)aⱼ + f² Σa.
    """
    risk, died = table.at_risk, table.all_events
    hazard = _running(over(died, risk * (risk - died)))[:, None]
    linear = step * hazard
    square = np.cumsum(2 * step * _running(linear) + step * linear, axis=-1)
    share = over(table.events, risk[:, None])
    own = np.cumsum(step * before[:, None] * over(1 - share, risk[:, None]), axis=-1)
    cross = np.cumsum(step * _running(over(step, risk[:, None])), axis=-1)
    variance = square + own - 2 * cross
    return np.where(variance > ROUNDING * (square + own), variance, 0.0)


def _running(terms: np.ndarray) -> np.ndarray:
    """The sum of all earlier terms."""
    return np.cumsum(terms, axis=-1) - terms


def _unobserved(table: EventTable, free: np.ndarray) -> np.ndarray:
    """Times after the last at which the group was observed, and groups with nobody."""
    return (np.arange(table.time.size) > table.last_observed[:, None]) & (free > 0)


def _emptied(table: EventTable, free: np.ndarray) -> tuple[Note, ...]:
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


def follow_up(
    time: ArrayLike,
    cause: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    group: ArrayLike | None = None,
    groups: Sequence | None = None,
    p: float = 0.5,
    level: float = 0.95,
    transform: str = "log-log",
) -> Quantile:
    """Time by which follow-up of a share `p` had ended, by group (G,): the end of follow-up is the event.

    One row a subject; an event of any cause (`cause` > 0) cuts follow-up short and is censored. NaN and a note where
    not reached. Schemper M, Smith TL. Control Clin Trials 1996;17:343-346. Raises StatisticsError as event_table does.
    """
    ended = np.asarray(checks.codes("cause", cause)) == 0
    curve = kaplan_meier(time, ended, entry=entry, group=group, groups=groups, level=level, transform=transform)
    return quantile(curve, p)


@dataclass(frozen=True, kw_only=True, eq=False)
class Band:
    """Times (t,) within the band, the curve and the band's edges there; `critical` stands where z stands pointwise."""

    time: np.ndarray
    estimate: np.ndarray
    low: np.ndarray
    high: np.ndarray
    critical: float
    level: float
    notes: tuple[Note, ...] = ()


def equal_precision_band(
    time: ArrayLike, event: ArrayLike, *, start: float | None = None, end: float | None = None, level: float = 0.95
) -> Band:
    """Nair's equal-precision band of the Kaplan–Meier curve from `start` to `end`, on the log-log scale.

    By default from the first to the last event with a share above 0. Proportional to the pointwise limits, so that it
    reads as a wider version of them. Nair VN. Technometrics 1984;26:265-275; critical value by Miller and Siegmund's
    approximation, Biometrics 1982;38:1011-1016. Fewer than two events in it: NaN and a note.
    """
    level = checks.confidence_level(level)
    curve = kaplan_meier(time, event)
    when, share, error = curve.table.time, curve.estimate[0], curve.std_error[0]
    inside = (share > 0) & (share < 1) & np.isfinite(error) & (error > 0)
    first, last = _edge("start", start, when, -np.inf), _edge("end", end, when, np.inf)
    if first >= last:
        raise StatisticsError(f"The band would run from {first:g} to {last:g}: start must lie before end.")
    inside &= (when >= first) & (when <= last)
    relative = (error / np.where(share > 0, share, 1)) ** 2 * float(np.size(time))
    happened = inside & (curve.table.all_events[0] > 0)
    if np.count_nonzero(happened) < 2:
        note = Note(code="SMALL_N", text="Fewer than two events lie within the band: none is drawn.")
        none = np.full(int(inside.sum()), np.nan)
        return Band(
            time=when[inside], estimate=share[inside], low=none, high=none, critical=np.nan, level=level, notes=(note,)
        )
    edges = relative[happened][[0, -1]] / (1 + relative[happened][[0, -1]])
    critical = equal_precision_critical(*edges, level=level)
    width = np.exp(critical * error[inside] / (share[inside] * np.abs(np.log(share[inside]))))
    return Band(
        time=when[inside],
        estimate=share[inside],
        low=share[inside] ** width,
        high=share[inside] ** (1 / width),
        critical=critical,
        level=level,
    )


def _edge(name: str, value: float | None, axis: np.ndarray, otherwise: float) -> float:
    """An edge of a band, on the axis where it differs from a time by rounding only."""
    if value is None:
        return otherwise
    number = checks.finite(name, value)
    if number.ndim:
        raise StatisticsError(f"{name} holds several numbers: give one time.")
    return float(checks.snapped(number, axis))


def equal_precision_critical(first: float, last: float, *, level: float = 0.95) -> float:
    """The value that a standardised Brownian bridge passes between `first` and `last` (0 to 1) with 1 − `level`."""
    first, last = checks.probability("first", first), checks.probability("last", last)
    if first >= last:
        raise StatisticsError(f"The band would run from {first:g} to {last:g}: first must lie before last.")
    odds = np.log(last * (1 - first) / (first * (1 - last)))

    def beyond(value: float) -> float:
        density = stats.norm.pdf(value)
        return 4 * density / value + density * (value - 1 / value) * odds - (1 - level)

    return float(optimize.brentq(beyond, special.ndtri((1 + level) / 2), 10))
