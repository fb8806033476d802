"""Rows that become several: for each new row the one it comes from, and its place among those of the same."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Spread:
    """M new rows: the row (M,) each comes from, and its rank (M,) among those from there, from 0."""

    row: np.ndarray
    rank: np.ndarray


def spread(counts: np.ndarray) -> Spread:
    """Each row as often as `counts` (N,) says."""
    row = np.repeat(np.arange(len(counts)), counts)
    return Spread(row=row, rank=np.arange(len(row)) - np.repeat(np.cumsum(counts) - counts, counts))
