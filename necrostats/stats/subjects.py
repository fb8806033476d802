"""The rows behind a curve, kept where errors must allow for rows that belong together."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from necrostats.stats import checks
from necrostats.stats.clusters import places


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
