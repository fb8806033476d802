"""What happened to each patient as cells of a table of counts, patients with the same course taken together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import sparse

from necrostats.stats import checks
from necrostats.stats.clusters import places
from necrostats.stats.event_tables import EventTable, event_table, from_counts


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
        return [from_counts(self.time, names, self.causes, each[:, :-1], each[:, -1])
                for each in np.moveaxis(cells, 1, 0)]  # fmt: skip


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
    ends = offset + checks.codes("cause", cause) * length + np.searchsorted(table.time, when)
    starts = offset + (width - 1) * length + np.searchsorted(table.time, since)
    starts = np.where(since > 0, starts, -1)
    course, patients = _together(whose, ends, starts, apart)
    first = _one_patient_each(course, whose)
    return Courses(
        time=table.time, groups=table.groups, causes=table.causes, patients=patients,
        patients_by_group=np.array([np.unique(whose[row_group == each]).size for each in range(table.groups.size)]),
        adds=_adds(course[first], ends[first], starts[first], (patients.size, table.groups.size * width * length)),
    )  # fmt: skip


def _row_groups(group: ArrayLike | None, groups: np.ndarray) -> np.ndarray | int:
    if group is None:
        return 0
    known = {name: place for place, name in enumerate(groups.tolist())}
    names, back = np.unique(np.asarray(group), return_inverse=True)
    return np.array([known[name] for name in names.tolist()], dtype=np.intp)[back]


def _together(
    whose: np.ndarray, ends: np.ndarray, starts: np.ndarray, apart: bool
) -> tuple[np.ndarray, np.ndarray]:
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
