"""What every comparison of two groups shares: the table, the contrast, the test, and what cannot be compared."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from necrostats.errors import StatisticsError
from necrostats.results import Note
from necrostats.stats import checks


@dataclass(frozen=True, kw_only=True, eq=False)
class Contrast:
    """A contrast of a group with its reference: floats where numbers went in, arrays where arrays did.

    `measure` says what `estimate`, `low` and `high` are, `method` how the limits were made. A ratio whose reference
    has no events is infinite and so is its upper limit. NaN stands only where nothing can be said; `notes` say why.
    `p_value` belongs to `test`, the test by name; NaN and "" where none was made.
    """

    estimate: float | np.ndarray
    low: float | np.ndarray
    high: float | np.ndarray
    measure: str
    method: str
    p_value: float = np.nan
    test: str = ""
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Test:
    """A two-sided p-value with the name of the test that gave it, and its statistic where it has one."""

    __test__ = False  # not a class of tests, whatever pytest makes of its name

    p_value: float
    test: str
    statistic: float = np.nan
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class TwoGroups:
    """Events `a` of `n` in the group and `b` of `m` in the reference, as floats of one shape."""

    a: np.ndarray
    n: np.ndarray
    b: np.ndarray
    m: np.ndarray

    @property
    def empty(self) -> np.ndarray:
        """Where a group has nobody in it."""
        return (self.n == 0) | (self.m == 0)

    @property
    def no_contrast(self) -> np.ndarray:
        """Where there are groups, but with no events in either, or nothing but events in both."""
        events, everybody = self.a + self.b, self.n + self.m
        return ~self.empty & ((events == 0) | (events == everybody))

    @property
    def no_events(self) -> np.ndarray:
        """Where there are groups, but with no events in either."""
        return ~self.empty & (self.a + self.b == 0)

    def at(self, rows: np.ndarray) -> TwoGroups:
        """The rows named, by number or by yes and no, as one-dimensional arrays."""
        return TwoGroups(a=self.a[rows], n=self.n[rows], b=self.b[rows], m=self.m[rows])

    @property
    def share(self) -> np.ndarray:
        """Events over n in the group; NaN where n is 0."""
        return np.divide(self.a, self.n, out=np.full(self.a.shape, np.nan), where=self.n > 0)

    @property
    def share_ref(self) -> np.ndarray:
        """Events over n in the reference; NaN where n is 0."""
        return np.divide(self.b, self.m, out=np.full(self.b.shape, np.nan), where=self.m > 0)

    def cells(self) -> np.ndarray:
        """[[events, events of the reference], [others, others of the reference]]: the groups are the columns."""
        return np.array([[self.a, self.b], [self.n - self.a, self.m - self.b]]).astype(int)


def two_groups(events: ArrayLike, n: ArrayLike, events_ref: ArrayLike, n_ref: ArrayLike) -> TwoGroups:
    """The counts of two groups, checked: numbers, or arrays that broadcast. StatisticsError if they cannot be."""
    given = {"events": events, "n": n, "events_ref": events_ref, "n_ref": n_ref}
    a, size, b, size_ref = checks.broadcast(**{name: checks.counts(name, values) for name, values in given.items()})
    checks.refuse("events", a, a > size, "is more than its n.")
    checks.refuse("events_ref", b, b > size_ref, "is more than its n_ref.")
    return TwoGroups(a=a, n=size, b=b, m=size_ref)


def one_table(events: float, n: float, events_ref: float, n_ref: float) -> TwoGroups:
    """The counts of one pair of groups. StatisticsError if they cannot be, or if arrays were given."""
    groups = two_groups(events, n, events_ref, n_ref)
    if groups.a.ndim:
        raise StatisticsError("This compares one pair of groups at a time: give four whole numbers.")
    return groups


def empty_groups(groups: TwoGroups) -> tuple[Note, ...]:
    """The note that goes with a group that has nobody in it."""
    return counted(groups.empty, "SMALL_N", "A group has nobody in it", "nothing can be compared, and nothing is shown")


def nothing_to_compare(groups: TwoGroups) -> tuple[Note, ...]:
    """The notes that go with groups that are empty, or that share one certain outcome."""
    what = "All have the event in both groups, or nobody in either"
    so = "no test and no odds ratio is possible; the risk difference still has limits"
    return empty_groups(groups) + counted(groups.no_contrast, "ZERO_EVENTS", what, so)


def counted(where: np.ndarray, code: str, what: str, so: str) -> tuple[Note, ...]:
    """One note for all the rows marked, or none: what was found, in how many rows, and what follows."""
    found = int(np.count_nonzero(where))
    if not found:
        return ()
    place = "" if where.ndim == 0 else f" in {found:,} of {where.size:,} rows"
    return (Note(code=code, text=f"{what}{place}: {so}."),)


def two_sided(smaller: float, larger: float) -> float:
    """Twice the smaller of two one-sided p-values, at most 1."""
    return float(min(1.0, 2 * min(smaller, larger)))
