"""What one subject adds to a curve: the subjects as they are counted, and their terms in its variance.

A figure moves by Σ own dMₖ + Σ common dM over times, where dMₖ are the events of its cause beyond their share of those
at risk, and dM those of all causes. Its error follows from the counts, or from rows summed by cluster.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from necrostats.stats import checks
from necrostats.stats.curves import CumulativeIncidence, Survival
from necrostats.stats.event_tables import EventTable, over
from necrostats.stats.incidence import event_free, incidence_shares, just_before
from necrostats.stats.intervals import places


@dataclass(frozen=True, kw_only=True, eq=False)
class Subjects:
    """One row a subject (n,), as given to the curve; rows with one label in `cluster` belong together.

    `cause`: 0 censored, else 1..C (1 = the event of a survival curve). StatisticsError unless all are equally long.
    """

    time: ArrayLike
    cause: ArrayLike
    cluster: ArrayLike
    entry: ArrayLike | None = None
    group: ArrayLike | None = None
    weights: ArrayLike | None = None

    def __post_init__(self) -> None:
        given = {name: getattr(self, name) for name in ("time", "cause", "cluster", "entry", "group", "weights")}
        checks.one_length(**given)

    @cached_property
    def ends(self) -> np.ndarray:
        """When each row ended (n,)."""
        return checks.times("time", self.time)

    @cached_property
    def causes(self) -> np.ndarray:
        """The number of each row's cause (n,), 0 for censored."""
        return checks.codes("cause", self.cause).astype(np.intp)

    @cached_property
    def shares(self) -> np.ndarray:
        """How often each row counts (n,)."""
        return np.ones(self.ends.size) if self.weights is None else checks.not_negative("weights", self.weights)

    @cached_property
    def clusters(self) -> np.ndarray:
        """The place of each row's cluster (n,), 0 to P − 1."""
        return places(checks.labels("cluster", self.cluster))

    def groups_among(self, groups: np.ndarray) -> np.ndarray:
        """The place of each row's group among `groups` (n,)."""
        if self.group is None:
            return np.zeros(self.ends.size, dtype=np.intp)
        known = {name: place for place, name in enumerate(groups.tolist())}
        labels = checks.labels("group", self.group).tolist()
        checks.refuse(
            "group",
            np.array(labels),
            np.array([each not in known for each in labels], dtype=bool),
            "is not a group of the curve.",
        )
        return np.array([known[each] for each in labels], dtype=np.intp)


Curve = Survival | CumulativeIncidence


@dataclass(frozen=True, kw_only=True, eq=False)
class Terms:
    """A figure of each group and cause (G, C); `own` (G, 1, T) and `common` (G, C, T) as above.

    `share` (G, C, T) and `all_share` (G, T): events of the cause, and of all causes, over those at risk.
    """

    table: EventTable
    value: np.ndarray
    own: np.ndarray
    common: np.ndarray
    share: np.ndarray
    all_share: np.ndarray


def height_terms(curve: Curve, day: float) -> Terms:
    """The height of the curve just after `day`."""
    table = curve.table
    free, shares = _heights(curve)
    counted = table.time <= checks.snapped(np.asarray(day), table.time)
    reached = np.count_nonzero(counted)
    padded = np.concatenate([np.full((*shares.shape[:-1], 1), _start(curve)), shares], axis=-1)
    value = padded[..., reached]
    left = (table.at_risk - table.all_events)[:, None]
    if isinstance(curve, Survival):
        moves = -over(value[..., None] * np.ones(table.time.size), left)
        return _terms(curve, value, np.zeros((len(free), 1, table.time.size)), moves * counted)
    own = over(just_before(free), table.at_risk)[:, None] * counted
    return _terms(curve, value, own, -over((value[..., None] - shares) * counted, left))


def area_terms(curve: Curve, tau: float) -> Terms:
    """The area under the curve from 0 to `tau`."""
    table = curve.table
    free, shares = _heights(curve)
    value = area(table.time, shares, _start(curve), tau)
    onward = _area_onward(table.time, shares, tau)
    left = (table.at_risk - table.all_events)[:, None]
    if isinstance(curve, Survival):
        return _terms(curve, value, np.zeros((len(free), 1, table.time.size)), -over(onward, left))
    rest = np.maximum(tau - table.time, 0.0)
    own = over(just_before(free), table.at_risk)[:, None] * rest
    return _terms(curve, value, own, -over(onward - shares * rest, left))


def area(time: np.ndarray, heights: np.ndarray, start: float, tau: float) -> np.ndarray:
    """The area from 0 to `tau` under steps of `heights` (…, T) just after each time, at `start` before the first."""
    first = min(time[0], tau) if time.size else tau
    return start * first + heights @ _widths(time, tau)


def counted_covariance(terms: Terms) -> np.ndarray:
    """Covariance of groups (C, G, G), for subjects who are independent: rows at risk share events as chance has it."""
    p, q = terms.share, terms.all_share[:, None]
    each = p * (1 - p) * terms.own**2 + q * (1 - q) * terms.common**2 + 2 * p * (1 - q) * terms.own * terms.common
    variance = np.maximum(np.sum(terms.table.at_risk[:, None] * each, axis=-1), 0.0)
    return variance.T[:, :, None] * np.eye(len(variance))


def clustered_covariance(terms: Terms, rows: Subjects) -> np.ndarray:
    """Covariance of groups (C, G, G), the influence of rows summed by cluster (infinitesimal jackknife).

    NaN for a group that lies within one cluster: how much clusters vary cannot be seen there.
    """
    groups, clusters = terms.value.shape[0], int(rows.clusters.max(initial=-1)) + 1
    key = rows.clusters * groups + rows.groups_among(terms.table.groups)
    each = row_influence(terms, rows) * rows.shares[:, None]
    summed = np.stack([np.bincount(key, weights=one, minlength=clusters * groups) for one in each.T])
    by_cluster = summed.reshape(-1, clusters, groups)
    alone = clusters_by_group(rows, terms.table.groups) == 1
    return np.where(alone | alone[:, None], np.nan, np.swapaxes(by_cluster, 1, 2) @ by_cluster)


def clusters_by_group(rows: Subjects, groups: np.ndarray) -> np.ndarray:
    """How many clusters have rows in each group (G,)."""
    pairs = np.unique(np.stack([rows.groups_among(groups), rows.clusters]), axis=1)
    return np.bincount(pairs[0], minlength=groups.size)


def row_influence(terms: Terms, rows: Subjects) -> np.ndarray:
    """How far each row moves the figure of its group (n, C)."""
    table, cause, group = terms.table, rows.causes, rows.groups_among(terms.table.groups)
    place = np.searchsorted(table.time, checks.snapped(rows.ends, table.time))
    expected = np.cumsum(terms.own * terms.share + terms.common * terms.all_share[:, None], axis=-1)
    named = np.arange(1, terms.value.shape[1] + 1)
    happened = cause[:, None] > 0
    moved = terms.own[group, 0, place][:, None] * (cause[:, None] == named) + terms.common[group, :, place] * happened
    influence = moved - expected[group, :, place]
    if rows.entry is None:
        return influence
    entry = checks.snapped(np.asarray(rows.entry, dtype=float), table.time)
    before = np.where(entry > 0, np.searchsorted(table.time, entry, side="right"), 0)
    padded = np.concatenate([np.zeros((*expected.shape[:-1], 1)), expected], axis=-1)
    return influence + padded[group, :, before]


def _heights(curve: Curve) -> tuple[np.ndarray, np.ndarray]:
    """Shares free of events (G, T), and heights by cause (G, C, T); of a survival curve the former, as one cause."""
    free = event_free(curve.table)
    return free, free[:, None] if isinstance(curve, Survival) else incidence_shares(curve.table, free)


def _start(curve: Curve) -> float:
    return 1.0 if isinstance(curve, Survival) else 0.0


def _terms(curve: Curve, value: np.ndarray, own: np.ndarray, common: np.ndarray) -> Terms:
    table = curve.table
    events = table.all_events[:, None] if isinstance(curve, Survival) else table.events
    return Terms(
        table=table,
        value=value,
        own=own,
        common=common,
        share=over(events, table.at_risk[:, None]),
        all_share=over(table.all_events, table.at_risk),
    )


def _widths(time: np.ndarray, tau: float) -> np.ndarray:
    """How long each step lasts within (0, tau] (T,)."""
    return np.diff(np.minimum(np.append(time, np.inf), tau))


def _area_onward(time: np.ndarray, heights: np.ndarray, tau: float) -> np.ndarray:
    """The area from each time to `tau` (…, T)."""
    return np.cumsum((heights * _widths(time, tau))[..., ::-1], axis=-1)[..., ::-1]
