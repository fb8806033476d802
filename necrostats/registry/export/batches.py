"""A long export cut into stretches of patients, so that a few of them are in memory at a time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from necrostats.registry.export.mapped_sheets import LaidSheet
from necrostats.registry.export.patients import People


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Stretch:
    """Rows of each sheet: from `first` (S,) to `end` (S,), excluded."""

    first: np.ndarray
    end: np.ndarray

    def rows_of(self, sheet: int) -> tuple[int, int]:
        """The first row of a sheet, and the one after the last."""
        return int(self.first[sheet]), int(self.end[sheet])


def everything(sheets: Sequence[LaidSheet]) -> Stretch:
    """All rows of all sheets."""
    ends = np.array([len(sheet) for sheet in sheets], dtype=np.int64)
    return Stretch(first=np.zeros_like(ends), end=ends)


def stretches_of(sheets: Sequence[LaidSheet], people: People, about: int) -> tuple[Stretch, ...]:
    """Stretches of about so many rows in which no patient is cut; one, where the rows of a patient are scattered.

    A row that is nobody's goes with the row above it.
    """
    whole = everything(sheets)
    if whole.end.sum() <= about:
        return (whole,)
    owners = [np.maximum.accumulate(np.append(0, person))[1:] for person in people.of]
    if any((person[person >= 0] != owner[person >= 0]).any() for person, owner in zip(people.of, owners, strict=True)):
        return (whole,)
    rows = np.cumsum(sum(np.bincount(owner, minlength=len(people.ids)) for owner in owners))
    beginning = np.searchsorted(rows, np.arange(about, rows[-1], about), side="right")
    edges = np.array([[np.searchsorted(owner, person) for owner in owners] for person in np.unique(beginning)])
    edges = np.vstack([whole.first, edges.reshape(-1, len(sheets)), whole.end])
    return tuple(Stretch(first=first, end=end) for first, end in pairwise(edges) if (first < end).any())
