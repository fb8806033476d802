"""The patient bootstrap: how often each patient is drawn, times what happened to each, gives every resample's counts.

Patients with the same course are drawn together: their multiplicities are multinomial, so a resample of 100,000
patients costs no more than one of the few hundred courses there are.

What happened to each patient as cells of a table of counts, patients with the same course taken together.

Figures of many curves at once, without errors: what a bootstrap takes from each resample.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from scipy import sparse, special

from necrostats.errors import StatisticsError, unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.curve_terms import area
from necrostats.stats.curves import passing_time
from necrostats.stats.event_tables import EventTable, event_table, from_counts
from necrostats.stats.incidence import event_free, incidence_shares
from necrostats.stats.intervals import Interval, places, unbiased, wider


@dataclass(frozen=True, kw_only=True, eq=False)
class Courses:
    """Distinct courses: how many `patients` (K,) had each, and the cells (K, cells) their rows add to.

    Cells run over groups, then over censored, causes and late entries, then over `time` (T,).
    """

    time: np.ndarray
    groups: np.ndarray
    causes: np.ndarray
    patients: np.ndarray
    patients_by_group: np.ndarray
    adds: sparse.csr_array

    @property
    def cells(self) -> int:
        """How many numbers the tables of one resample hold."""
        return self.adds.shape[1]

    def tables(self, weights: np.ndarray) -> list[EventTable]:
        """For each group the table of B resamples; `weights` (B, K) is how often each course counts."""
        shape = (len(weights), self.groups.size, self.causes.size + 2, self.time.size)
        cells = np.ascontiguousarray((self.adds.T @ weights.T).T).reshape(shape)
        names = np.arange(len(weights))
        return [
            from_counts(self.time, names, self.causes, each[:, :-1], each[:, -1]) for each in np.moveaxis(cells, 1, 0)
        ]


def courses(
    time: ArrayLike,
    cause: ArrayLike,
    *,
    patient: ArrayLike | None = None,
    group: ArrayLike | None = None,
    entry: ArrayLike | None = None,
    causes: Sequence | None = None,
    groups: Sequence | None = None,
    apart: bool = False,
) -> Courses:
    """The courses of patients; one row a subject, arguments as event_table, and a label a row in `patient`.

    `apart`: every patient a course of their own, in the order of their labels.
    """
    table = event_table(time, cause, entry=entry, group=group, causes=causes, groups=groups)
    checks.one_length(time=time, patient=patient)
    when = checks.times("time", time)
    whose = np.arange(when.size) if patient is None else places(checks.labels("patient", patient))
    row_group = _row_groups(group, table.groups)
    since = np.zeros(when.size) if entry is None else checks.times("entry", entry)
    width, length = table.causes.size + 2, table.time.size
    offset = row_group * width * length
    ends = (
        offset + checks.codes("cause", cause) * length + np.searchsorted(table.time, checks.snapped(when, table.time))
    )
    starts = offset + (width - 1) * length + np.searchsorted(table.time, checks.snapped(since, table.time))
    starts = np.where(since > 0, starts, -1)
    course, patients = _together(whose, ends, starts, apart)
    first = _one_patient_each(course, whose)
    return Courses(
        time=table.time,
        groups=table.groups,
        causes=table.causes,
        patients=patients,
        patients_by_group=np.array([np.unique(whose[row_group == each]).size for each in range(table.groups.size)]),
        adds=_adds(course[first], ends[first], starts[first], (patients.size, table.groups.size * width * length)),
    )


def _row_groups(group: ArrayLike | None, groups: np.ndarray) -> np.ndarray | int:
    if group is None:
        return 0
    known = {name: place for place, name in enumerate(groups.tolist())}
    names, back = np.unique(np.asarray(group), return_inverse=True)
    return np.array([known[name] for name in names.tolist()], dtype=np.intp)[back]


def _together(whose: np.ndarray, ends: np.ndarray, starts: np.ndarray, apart: bool) -> tuple[np.ndarray, np.ndarray]:
    """The course of each row (n,), and how many patients had each course (K,)."""
    if apart or not whose.size:
        return whose, np.ones(int(whose.max(initial=-1)) + 1, dtype=np.intp)
    single = np.bincount(whose)[whose] == 1
    key = np.stack([np.where(single, -1, whose), np.where(single, ends, -1), np.where(single, starts, -1)], axis=1)
    _, course = np.unique(key, axis=0, return_inverse=True)
    course = course.reshape(-1)
    one_row = np.unique(whose, return_index=True)[1]
    return course, np.bincount(course[one_row])


def _one_patient_each(course: np.ndarray, whose: np.ndarray) -> np.ndarray:
    """The rows of the first patient of each course (a yes or no a row)."""
    first = np.full(int(course.max(initial=-1)) + 1, whose.size)
    np.minimum.at(first, course, whose)
    return whose == first[course]


def _adds(course: np.ndarray, ends: np.ndarray, starts: np.ndarray, shape: tuple[int, int]) -> sparse.csr_array:
    late = starts >= 0
    rows, columns = np.concatenate([course, course[late]]), np.concatenate([ends, starts[late]])
    return sparse.csr_array((np.ones(rows.size), (rows, columns)), shape=shape)


@dataclass(frozen=True, kw_only=True, eq=False)
class ManyCurves:
    """The curves of B tables of counts, one a group of `table`, each worked out once."""

    table: EventTable

    @cached_property
    def free(self) -> np.ndarray:
        """Shares free of any event (B, T)."""
        return event_free(self.table)

    @cached_property
    def shares(self) -> np.ndarray:
        """Incidence by cause (B, C, T)."""
        return incidence_shares(self.table, self.free)

    def heights(self, cause: object) -> np.ndarray:
        """The incidence of a cause (B, T), or for None the share free of events."""
        if cause is None:
            return self.free
        names = self.table.causes.tolist()
        if cause not in names:
            raise unknown_choice("cause", cause, names)
        return self.shares[:, names.index(cause)]

    def unknown(self, until: float) -> np.ndarray:
        """Which curves (B,) end before `until` with somebody left free of events."""
        ends = np.append(self.table.time, -1)[self.table.last_observed]
        return (ends < 0) | ((ends < until) & ~(self.free == 0).any(axis=-1))


@dataclass(frozen=True, kw_only=True, eq=False)
class Statistic:
    """A figure by name and how to read it off many curves (B,): infinite = not reached, NaN = not known.

    `smooth`: it moves little by little with each patient, as shares and means do; a median jumps from day to day.
    """

    name: str
    of: Callable[[ManyCurves], np.ndarray]
    smooth: bool = True


def median_of(cause: object = None, *, p: float = 0.5, midpoint: bool = True) -> Statistic:
    """The time by which a share `p` has had an event of the cause (None = of any), by the rule of `quantile`."""
    p = checks.probability("p", p)

    def read(curves: ManyCurves) -> np.ndarray:
        heights = curves.heights(cause)
        rising = 1 - heights if cause is None else heights
        found = passing_time(curves.table, rising, p, midpoint=midpoint)
        return np.where(np.isnan(found), np.where(curves.table.last_observed < 0, np.nan, np.inf), found)

    return Statistic(name=f"{'median' if p == 0.5 else f'{p:.0%} quantile'}{_of(cause)}", of=read, smooth=False)


def height_of(time: float, cause: object = None) -> Statistic:
    """The incidence of the cause at one time; None = the share free of events."""
    time = float(checks.not_negative("time", time))

    def read(curves: ManyCurves) -> np.ndarray:
        axis = curves.table.time
        place = int(np.searchsorted(axis, checks.snapped(np.asarray(time), axis), side="right")) - 1
        start = 1.0 if cause is None else 0.0
        height = curves.heights(cause)[:, place] if place >= 0 else np.full(curves.table.groups.size, start)
        return np.where(curves.unknown(time), np.nan, height)

    return Statistic(name=f"{'event-free' if cause is None else 'incidence'} at {time:g}{_of(cause)}", of=read)


def restricted_mean_of(tau: float, cause: object = None) -> Statistic:
    """Restricted mean time lost to the cause up to `tau`; None = the restricted mean time free of events."""
    tau = checks.positive("tau", tau)

    def read(curves: ManyCurves) -> np.ndarray:
        whole = curves.table.time.dtype.kind == "i" and tau == np.floor(tau)
        value = area(curves.table.time, curves.heights(cause), 1.0 if cause is None else 0.0, tau)
        return np.where(curves.unknown(tau - whole), np.nan, value)

    return Statistic(name=f"restricted mean to {tau:g}{_of(cause)}", of=read)


def _of(cause: object) -> str:
    return "" if cause is None else f", {cause}"


FEWEST_PATIENTS = 10
MOST_UNKNOWN = 0.05
AT_ONCE = 4_000_000
ROUNDING = 1e-9
SEED = 20240229


@dataclass(frozen=True, kw_only=True, eq=False)
class Resampled:
    """Figures of each group as seen (S, G) and in each of B resamples (B, S, G).

    Infinite = not reached, NaN = not known. `names` (S,) of the figures, `patients` (G,) in each group. Ask for an
    `interval` or a `difference`: limits are percentiles, of shares and means expanded for few patients, since those of
    small samples lie too close together: with 15 patients the 1.3rd and the 98.7th, not the 2.5th and the 97.5th.
    None, and a note, for a share or a mean that is the same in every resample of a group.
    Hesterberg TC. Am Stat 2015;69:371-386 (from memory).
    """

    names: tuple[str, ...]
    smooth: tuple[bool, ...]
    groups: np.ndarray
    patients: np.ndarray
    level: float
    observed: np.ndarray
    replicates: np.ndarray

    def interval(self, name: str, group: object = None) -> Interval:
        """A figure of one group (of the only one if left out) with percentile limits."""
        which, whose = self._name(name), self._group(group)
        n = int(self.patients[whose])
        return _percentiles(
            self.observed[which, whose],
            self.replicates[:, which, whose],
            self._tail(which, n, n),
            n,
            still=self._still(which, whose),
        )

    def difference(self, name: str, group: object, reference: object) -> Interval:
        """A figure of `group` minus that of `reference`, with percentile limits."""
        which, one, two = self._name(name), self._group(group), self._group(reference)
        with np.errstate(invalid="ignore"):
            gap = self.observed[which, one] - self.observed[which, two]
            gaps = self.replicates[:, which, one] - self.replicates[:, which, two]
        n = int(min(self.patients[one], self.patients[two]))
        return _percentiles(
            gap,
            gaps,
            self._tail(which, n, int(self.patients[[one, two]].sum()) - 1),
            n,
            still=self._still(which, one) or self._still(which, two),
        )

    def _still(self, which: int, whose: int) -> bool:
        """Whether a share or a mean is the same in every resample of a group."""
        values = self.replicates[:, which, whose]
        known = values[np.isfinite(values)]
        return self.smooth[which] and known.size > 0 and float(np.ptp(known)) <= ROUNDING * (1 + abs(known[0]))

    def _tail(self, which: int, n: int, independent: int) -> float:
        """The share of resamples beyond each limit: of `n` patients a group, `independent` in all."""
        plain = (1 - self.level) / 2
        if not self.smooth[which] or n < FEWEST_PATIENTS:
            return plain
        return float(special.ndtr(special.ndtri(plain) * wider(self.level, independent) * unbiased(n)))

    def _name(self, name: str) -> int:
        if name not in self.names:
            raise unknown_choice("figure", name, self.names)
        return self.names.index(name)

    def _group(self, group: object) -> int:
        names = self.groups.tolist()
        if group is None and len(names) == 1:
            return 0
        if group not in names:
            raise unknown_choice("group", group, names)
        return names.index(group)


def bootstrap(
    time: ArrayLike,
    cause: ArrayLike,
    statistics: Sequence[Statistic],
    *,
    patient: ArrayLike | None = None,
    group: ArrayLike | None = None,
    entry: ArrayLike | None = None,
    causes: Sequence | None = None,
    groups: Sequence | None = None,
    replicates: int = 2000,
    random: np.random.Generator | int = SEED,
    weights: ArrayLike | None = None,
    level: float = 0.95,
) -> Resampled:
    """Figures of curves in bootstrap resamples of patients; one row a subject, arguments as event_table.

    `patient`: a label a row, drawn with all their rows, in every group (a row is a patient if left out).
    `random`: a Generator, or the seed of one. `weights` (B, P) instead of drawing: how often each patient, in the
    order of their labels, is in each resample. Fewer than 10 patients in a group: no limits, and a note.
    Efron B, Tibshirani RJ. An Introduction to the Bootstrap, 1993, chapter 13. Raises as event_table does.
    """
    level = checks.confidence_level(level)
    rows = courses(
        time, cause, patient=patient, group=group, entry=entry, causes=causes, groups=groups, apart=weights is not None
    )
    drawn = _drawn(rows, replicates, random) if weights is None else _given(rows, weights)
    observed = _figures(rows, rows.patients[None], statistics)[0]
    parts = [_figures(rows, each, statistics) for each in drawn]
    shape = (0, len(statistics), rows.groups.size)
    return Resampled(
        names=tuple(each.name for each in statistics),
        smooth=tuple(each.smooth for each in statistics),
        groups=rows.groups,
        patients=rows.patients_by_group,
        level=level,
        observed=observed,
        replicates=np.concatenate([np.empty(shape), *parts]),
    )


def _figures(rows: Courses, weights: np.ndarray, statistics: Sequence[Statistic]) -> np.ndarray:
    """The figures (B, S, G) of resamples in which each course counts as often as `weights` (B, courses) says."""
    curves = [ManyCurves(table=table) for table in rows.tables(weights)]
    return np.stack([np.stack([each.of(one) for one in curves], axis=-1) for each in statistics], axis=1)


def _drawn(rows: Courses, replicates: int, random: np.random.Generator | int) -> Iterator[np.ndarray]:
    generator = checks.seed(random)
    replicates = int(checks.positive("replicates", replicates))
    total = int(rows.patients.sum())
    if not total:
        return
    for size in _chunks(replicates, max(rows.cells, rows.patients.size)):
        if total > 4 * rows.patients.size:
            yield generator.multinomial(total, rows.patients / total, size=size).astype(float)
            continue
        course = np.repeat(np.arange(rows.patients.size), rows.patients)[generator.integers(0, total, (size, total))]
        course += np.arange(size)[:, None] * rows.patients.size
        yield np.bincount(course.ravel(), minlength=size * rows.patients.size).reshape(size, -1).astype(float)


def _given(rows: Courses, weights: ArrayLike) -> Iterator[np.ndarray]:
    each = checks.not_negative("weights", weights)
    if each.ndim != 2 or each.shape[1] != rows.patients.size:
        raise StatisticsError(f"weights must have {rows.patients.size} columns, one a patient: it is {each.shape}.")
    start = 0
    for size in _chunks(len(each), rows.cells):
        yield each[start : start + size]
        start += size


def _chunks(replicates: int, each: int) -> Iterator[int]:
    """How many replicates to take at a time, for tables of `each` numbers a replicate."""
    most = max(1, AT_ONCE // max(each, 1))
    for start in range(0, replicates, most):
        yield min(most, replicates - start)


def _percentiles(estimate: float, values: np.ndarray, tail: float, patients: int, *, still: bool) -> Interval:
    known = np.sort(values[~np.isnan(values)])
    notes = _unknown(values.size - known.size, values.size)
    estimate = float(estimate) if np.isfinite(estimate) else np.nan
    if patients < FEWEST_PATIENTS:
        text = f"Only {patients} patients in a group: no bootstrap limits with fewer than {FEWEST_PATIENTS}."
        return Interval(estimate=estimate, low=np.nan, high=np.nan, notes=(Note(code="SMALL_N", text=text),))
    if not known.size or known.size < (1 - MOST_UNKNOWN) * values.size:
        return Interval(estimate=estimate, low=np.nan, high=np.nan, notes=notes)
    if still:
        text = "Every resample of a group says the same, so how far the figure may be off cannot be seen: no limits."
        return Interval(estimate=estimate, low=np.nan, high=np.nan, notes=(*notes, Note(code="NO_LIMITS", text=text)))
    notes += too_few_resamples(known.size, tail)
    beyond_each = max(1, int(np.floor((known.size + 1) * tail + 1e-9)))
    edges = np.array([known[beyond_each - 1], known[-beyond_each]])
    beyond = int(np.count_nonzero(np.isinf(known)))
    if beyond:
        text = f"Not reached in {beyond:,} of {known.size:,} resamples."
        notes += (Note(code="NOT_REACHED", text=text),)
    low, high = np.where(np.isfinite(edges), edges, np.nan)
    return Interval(estimate=estimate, low=float(low), high=float(high), notes=notes)


def too_few_resamples(resamples: int, tail: float) -> tuple[Note, ...]:
    """A note where so many resamples leave less than one beyond a limit with the share `tail` beyond it."""
    if (resamples + 1) * tail >= 1:
        return ()
    text = (
        f"{resamples:,} resamples are too few for limits this far out, {np.ceil(1 / tail):,.0f} are needed: the "
        "outermost are shown."
    )
    return (Note(code="FEW_RESAMPLES", text=text),)


def _unknown(missing: int, replicates: int) -> tuple[Note, ...]:
    if not missing:
        return ()
    so = "no limits are shown" if missing > MOST_UNKNOWN * replicates else "they are left out"
    text = f"Not known in {missing:,} of {replicates:,} resamples, where follow-up was too short: {so}."
    return (Note(code="NOT_MATURED", text=text),)
