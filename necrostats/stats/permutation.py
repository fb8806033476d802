"""Does a label go with a value beyond chance? Labels exchanged within groups, as if they had been dealt out there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from necrostats.stats import checks
from necrostats.stats.intervals import places

REPLICATES, SEED = 9_999, 20_240_229
TIES, AT_ONCE = 1e-9, 1_000


@dataclass(frozen=True, kw_only=True)
class PermutationTest:
    """The sum over groups of the labelled values less the group's mean, and its two-sided p; NaN where labels cannot
    be exchanged. `groups` are those that hold both kinds of label."""

    statistic: float
    p_value: float
    groups: int
    replicates: int


def permute_within(
    values: ArrayLike, label: ArrayLike, groups: ArrayLike, *, replicates: int = REPLICATES, seed: int = SEED
) -> PermutationTest:
    """Exchange `label` (n,), 0 or 1, within each group and compare the sum of the labelled `values` (n,).

    p = (1 + how many of `replicates` random exchanges lie as far out) / (1 + replicates). Pesarin F, Salmaso L.
    Permutation Tests for Complex Data. 2010. Groups with one kind of label say nothing. The same answer on every run.
    """
    y, x = checks.finite("values", values), checks.counts("label", label)
    checks.one_length(values=y, label=x, groups=groups)
    checks.refuse("label", x, x > 1, "is neither 0 nor 1.")
    whose = places(checks.labels("groups", groups))
    size, labelled = np.bincount(whose), np.bincount(whose, weights=x)
    keep = ((labelled > 0) & (labelled < size))[whose] if y.size else np.zeros(0, dtype=bool)
    if not keep.any():
        return PermutationTest(statistic=np.nan, p_value=np.nan, groups=0, replicates=0)
    order = np.lexsort((x[keep], y[keep], whose[keep]))  # so that the order of rows does not matter
    y, x, whose = y[keep][order], x[keep][order], places(whose[keep][order])
    centred = y - (np.bincount(whose, weights=y) / np.bincount(whose))[whose]
    found = float(centred @ x)
    far = _further_out(centred, x, whose, abs(found) - TIES, replicates, np.random.default_rng(seed))
    return PermutationTest(
        statistic=found, p_value=(1 + far) / (1 + replicates), groups=int(whose.max()) + 1, replicates=replicates
    )


def _further_out(centred: np.ndarray, x: np.ndarray, whose: np.ndarray, limit: float, replicates: int, rng) -> int:
    """In how many random exchanges the sum lies at least so far from 0; rows are sorted by group."""
    starts = np.flatnonzero(np.append(True, whose[1:] != whose[:-1]))
    dealt_first = np.arange(x.size) - starts[whose] < np.bincount(whose, weights=x)[whose]
    far = 0
    for start in range(0, replicates, AT_ONCE):
        shuffled = np.argsort(whose + rng.random((min(AT_ONCE, replicates - start), x.size)), axis=1)
        far += int(np.count_nonzero(np.abs(centred[shuffled] @ dealt_first) >= limit))
    return far
