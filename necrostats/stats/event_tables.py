"""Counts of events by time: every curve and every bootstrap is a function of these small tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from necrostats.errors import StatisticsError
from necrostats.stats import checks


@dataclass(frozen=True, kw_only=True, eq=False)
class EventTable:
    """What happened at each of T times in each of G groups, by each of C causes.

    `time` (T,) ascending: every time at which somebody had an event, was censored or entered late.
    `at_risk` (G, T): observed just before that time. `events` (G, C, T), `censored` (G, T): at that time; an event
    comes before a censoring on the same day. Whole numbers, or sums of weights.
    """

    time: np.ndarray
    groups: np.ndarray
    causes: np.ndarray
    at_risk: np.ndarray
    events: np.ndarray
    censored: np.ndarray

    @property
    def all_events(self) -> np.ndarray:
        """Events of any cause (G, T)."""
        return self.events.sum(axis=1)

    @property
    def entered(self) -> np.ndarray:
        """Late entries at each time (G, T): at risk from just after it."""
        following = np.zeros_like(self.at_risk)
        following[:, :-1] = self.at_risk[:, 1:]
        return following - self.at_risk + self.all_events + self.censored

    @property
    def last_observed(self) -> np.ndarray:
        """The place in `time` at which each group was last observed (G,); -1 for a group with nobody."""
        if not self.time.size:
            return np.full(self.groups.size, -1)
        seen = self.at_risk[:, ::-1] > 0
        return np.where(seen.any(axis=1), self.time.size - 1 - seen.argmax(axis=1), -1)

    def risk_at(self, times: ArrayLike) -> np.ndarray:
        """How many were at risk just before each of K times (G, K)."""
        place = np.searchsorted(self.time, checks.snapped(np.asarray(times), self.time))
        return np.pad(self.at_risk, ((0, 0), (0, 1)))[:, place]

    def with_times(self, times: ArrayLike) -> EventTable:
        """The same table with rows at these times too, where nothing need have happened (landmarks)."""
        wanted = np.union1d(self.time, checks.snapped(checks.times("times", times), self.time))
        return self if wanted.size == self.time.size else self._on(wanted)

    def weighted(self, weights: ArrayLike, *, groups: ArrayLike | None = None) -> EventTable:
        """Tables of sums over groups: one for each row of `weights` (B, G); counts add up, so this is a product.

        With one group a patient and each row how often a patient was drawn, these are B bootstrap samples.
        """
        each = checks.not_negative("weights", weights)
        if each.ndim != 2 or each.shape[1] != self.groups.size:
            raise StatisticsError(f"weights must have {self.groups.size} columns, one a group: it is {each.shape}.")
        flat = np.concatenate([self.at_risk[:, None], self.events, self.censored[:, None]], axis=1)
        summed = (each @ flat.reshape(self.groups.size, -1)).reshape(-1, flat.shape[1], self.time.size)
        return EventTable(
            time=self.time,
            causes=self.causes,
            groups=np.arange(len(each)) if groups is None else np.asarray(groups),
            at_risk=summed[:, 0],
            events=summed[:, 1:-1],
            censored=summed[:, -1],
        )

    def __add__(self, other: EventTable) -> EventTable:
        """The table of both sets of subjects; StatisticsError unless groups and causes are the same."""
        if not isinstance(other, EventTable):
            return NotImplemented
        for what in ("groups", "causes"):
            if not np.array_equal(getattr(self, what), getattr(other, what)):
                raise StatisticsError(f"Two tables add up only if they have the same {what} in the same order.")
        time = np.union1d(self.time, other.time)
        one, two = self._on(time), other._on(time)
        return EventTable(
            time=time,
            groups=self.groups,
            causes=self.causes,
            at_risk=one.at_risk + two.at_risk,
            events=one.events + two.events,
            censored=one.censored + two.censored,
        )

    def _on(self, time: np.ndarray) -> EventTable:
        place = np.searchsorted(time, self.time)
        events = np.zeros((*self.events.shape[:2], time.size), dtype=self.events.dtype)
        censored = np.zeros((self.groups.size, time.size), dtype=self.censored.dtype)
        events[..., place], censored[:, place] = self.events, self.censored
        return EventTable(
            time=time,
            groups=self.groups,
            causes=self.causes,
            at_risk=self.risk_at(time),
            events=events,
            censored=censored,
        )


def over(top: np.ndarray, bottom: np.ndarray) -> np.ndarray:
    """top / bottom, and 0 where bottom is 0: nobody is at risk, or nobody is left."""
    top, bottom = np.broadcast_arrays(top, bottom)
    return np.divide(top, bottom, out=np.zeros(top.shape), where=bottom > 0)


def event_table(
    time: ArrayLike,
    cause: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    group: ArrayLike | None = None,
    causes: Sequence | None = None,
    groups: Sequence | None = None,
    weights: ArrayLike | None = None,
) -> EventTable:
    """Count events, censorings and subjects at risk, one row a subject (n,).

    `time`: when it ended, 0 or later. `cause`: 0 censored, else 1..C, named by `causes` (by their numbers if left
    out). `group`: a label a row, one of `groups` if given (empty groups stay); one group "all" if left out.
    `entry`: observed only after this time, so at risk on (entry, time]; 0 means from the very start, with events at 0.
    `weights`: how often each row counts.

    Raises StatisticsError for times that are missing or below 0, for a subject that ends at or before its entry
    (never observed), and for causes or groups that are not on the list.
    """
    checks.one_length(time=time, cause=cause, entry=entry, group=group, weights=weights)
    when = checks.times("time", time)
    which, causes = _causes(cause, causes)
    whose, groups = _groups(group, groups)
    share = None if weights is None else checks.not_negative("weights", weights)
    since = None if entry is None else checks.times("entry", entry)
    when, since = checks.one_axis(when, since)
    late = _late(since, when)
    axis, at, since = _axis(when, None if late is None else since[late])
    ends = _tally((groups.size, causes.size + 1, axis.size), at, which, whose, share)
    if late is None:
        return from_counts(axis, groups, causes, ends, np.zeros_like(ends[:, 0]))
    whose, share = (None if values is None else values[late] for values in (whose, share))
    starts = _tally((groups.size, 1, axis.size), since, None, whose, share)
    return from_counts(axis, groups, causes, ends, starts[:, 0])


def _late(since: np.ndarray | None, when: np.ndarray) -> np.ndarray | None:
    """Which rows entered late; None if no row did."""
    if since is None:
        return None
    late = since > 0
    never = late & (since >= when)
    if never.any():
        first = int(np.argmax(never))
        raise StatisticsError(
            f"entry number {first + 1:,}: {since[first]:g} is not before its time, {when[first]:g}, so nothing was "
            "observed in between. Correct the row, or leave it out and count it."
        )
    return late if late.any() else None


def _axis(when: np.ndarray, since: np.ndarray | None) -> tuple[np.ndarray, np.ndarray, np.ndarray | None]:
    """The times in order, and the place of each end and each late entry among them.

    Whole numbers in a reasonable range are their own places: no sort.
    """
    last = int(when.max(initial=-1))
    whole = when.dtype.kind == "i" and (since is None or since.dtype.kind == "i")
    if whole and last <= 4 * when.size + 100_000:
        return np.arange(last + 1), when, since
    axis, place = np.unique(when if since is None else np.concatenate([when, since]), return_inverse=True)
    return axis, place[: when.size], None if since is None else place[when.size :]


def _tally(
    shape: tuple[int, int, int],
    at: np.ndarray,
    cause: np.ndarray | None,
    group: np.ndarray | None,
    weights: np.ndarray | None,
) -> np.ndarray:
    """Counts, or sums of weights, by group, cause and time, in one pass."""
    key = at if cause is None else np.multiply(cause, shape[2], dtype=np.intp)
    if cause is not None:
        key += at
    if group is not None:
        key = key + np.multiply(group, shape[1] * shape[2], dtype=np.intp)
    return np.bincount(key, weights=weights, minlength=int(np.prod(shape))).reshape(shape)


def from_counts(
    axis: np.ndarray, groups: np.ndarray, causes: np.ndarray, ends: np.ndarray, starts: np.ndarray
) -> EventTable:
    """A table from what ended, censored first, at each time (G, C + 1, T), and who entered late (G, T).

    Times at which nothing happened in any group are dropped.
    """
    seen = ends.any(axis=(0, 1)) | starts.any(axis=0)
    if not seen.all():
        axis, ends, starts = axis[seen], ends[..., seen], starts[:, seen]
    leaving = ends.sum(axis=1) - starts
    return EventTable(
        time=axis,
        groups=groups,
        causes=causes,
        at_risk=np.cumsum(leaving[:, ::-1], axis=1)[:, ::-1],
        events=ends[:, 1:],
        censored=ends[:, 0],
    )


def _causes(cause: ArrayLike, causes: Sequence | None) -> tuple[np.ndarray, np.ndarray]:
    which = checks.codes("cause", cause)
    largest = int(which.max(initial=0))
    if causes is None:
        return which, np.arange(1, max(largest, 1) + 1)
    names = checks.names("causes", causes)
    if largest > names.size:
        raise StatisticsError(f"cause holds {largest}, but only causes 1 to {names.size} have a name.")
    return which, names


def _groups(group: ArrayLike | None, groups: Sequence | None) -> tuple[np.ndarray | None, np.ndarray]:
    """The place of each row's group, and the groups in order."""
    if group is None:
        return None, np.array(["all"]) if groups is None else _one_group(checks.names("groups", groups))
    label = checks.labels("group", group)
    if groups is None:
        known, place = np.unique(label, return_inverse=True)
        return place, known
    known = checks.names("groups", groups)
    if label.dtype.kind == "i" and np.array_equal(known, np.arange(known.size)):
        if label.size and (label.min() < 0 or label.max() >= known.size):
            raise StatisticsError(f"group holds {label.min()} to {label.max()}; the groups are 0 to {known.size - 1}.")
        return label, known
    return _looked_up(label, known), known


def _one_group(groups: np.ndarray) -> np.ndarray:
    if len(groups) != 1:
        raise StatisticsError("groups names several groups, but no row says which it belongs to: give group as well.")
    return groups


def _looked_up(label: np.ndarray, known: np.ndarray) -> np.ndarray:
    places = {name: place for place, name in enumerate(known.tolist())}
    seen, back = np.unique(label, return_inverse=True)
    strange = [str(name) for name in seen.tolist() if name not in places]
    if strange:
        raise StatisticsError(f"group holds {', '.join(strange)}, not among: {', '.join(map(str, known))}.")
    return np.array([places[name] for name in seen.tolist()], dtype=np.intp)[back]
