"""Errors of curves when subjects come in clusters: each subject's influence on the curve, summed by cluster."""

from __future__ import annotations

import numpy as np

from necrostats.stats.event_tables import EventTable, over


def survival_error(counts: EventTable) -> np.ndarray:
    """Error (T,) of the event-free share of all clusters together; `counts` has a group for each cluster.

    The infinitesimal jackknife: a cluster's influence on S(t) is −S(t) Σ dM/(n−d), with dM = d of the cluster − its
    number at risk × d/n. NaN where S is 0.
    """
    free = np.cumprod(1 - over(counts.all_events.sum(axis=0), counts.at_risk.sum(axis=0)))
    influence = free * np.cumsum(_surplus_over_left(counts), axis=-1)
    return np.where(free > 0, _spread(influence), np.nan)


def incidence_error(counts: EventTable) -> np.ndarray:
    """Error (C, T) of the incidence of all clusters together, by the infinitesimal jackknife.

    A cluster's influence on F(t) is Σ S dMₖ/n − Σ (F(t) − F) dM/(n−d) over times up to t.
    """
    risk, died = counts.at_risk.sum(axis=0), counts.all_events.sum(axis=0)
    share = over(counts.events.sum(axis=0), risk)
    before = np.concatenate([[1.0], np.cumprod(1 - over(died, risk))])[: risk.size]
    incidence = np.cumsum(before * share, axis=-1)
    surplus = counts.events - counts.at_risk[:, None] * share
    lost = _surplus_over_left(counts)[:, None]
    own = np.cumsum(over(before * surplus, risk), axis=-1)
    through_others = incidence * np.cumsum(lost, axis=-1) - np.cumsum(incidence * lost, axis=-1)
    return _spread(own - through_others)


def _surplus_over_left(counts: EventTable) -> np.ndarray:
    """dM/(n−d) of each cluster (P, T): its events beyond its share of the risk, over those left at risk."""
    risk, died = counts.at_risk.sum(axis=0), counts.all_events.sum(axis=0)
    return over(counts.all_events - counts.at_risk * over(died, risk), risk - died)


def _spread(influence: np.ndarray) -> np.ndarray:
    return np.sqrt(np.sum(influence**2, axis=0))
