"""The products behind every curve: shares free of events, and shares with an event of each cause, from counts."""

from __future__ import annotations

import numpy as np

from necrostats.stats.event_tables import EventTable, over


def event_free(table: EventTable) -> np.ndarray:
    """The share free of any event just after each time (G, T): the product-limit estimate."""
    return np.cumprod(1 - over(table.all_events, table.at_risk), axis=-1)


def just_before(free: np.ndarray) -> np.ndarray:
    """The share free of events just before each time (G, T), from the share just after."""
    return np.concatenate([np.ones((len(free), 1)), free[:, :-1]], axis=1)[:, : free.shape[1]]


def incidence_shares(table: EventTable, free: np.ndarray) -> np.ndarray:
    """The share with an event of each cause by each time (G, C, T): the Aalen–Johansen estimate."""
    return np.cumsum(just_before(free)[:, None] * over(table.events, table.at_risk[:, None]), axis=-1)
