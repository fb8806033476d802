"""Units that come in clusters: how many clusters are few, and rows summed by cluster."""

from __future__ import annotations

import numpy as np

from necrostats.results import Note

FEW = 20


def few_clusters(clusters: int) -> tuple[Note, ...]:
    """The note that goes with fewer than 20 clusters."""
    if clusters >= FEW:
        return ()
    text = f"Only {clusters} clusters: limits that allow for clustering are approximate with fewer than {FEW}."
    return (Note(code="FEW_CLUSTERS", text=text),)


def one_cluster() -> Note:
    """The note that goes with a single cluster."""
    text = "All units belong to one cluster: how much clusters vary cannot be estimated."
    return Note(code="FEW_CLUSTERS", text=text)


def notes_on(clusters: int) -> tuple[Note, ...]:
    """The notes that go with so many clusters: none, few, or only one. None for no clusters at all."""
    return (one_cluster(),) if clusters == 1 else few_clusters(clusters or FEW)


def places(labels: np.ndarray) -> np.ndarray:
    """The place of each row's label among the distinct labels, 0 to G − 1."""
    return np.unique(labels.astype(str) if labels.dtype.kind == "O" else labels, return_inverse=True)[1]
