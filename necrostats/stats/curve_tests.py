"""Tests of whole curves between groups, made of one table of counts a stratum: what every such test shares."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.event_tables import EventTable, event_table

RANK, ROUNDING = 1e-9, 1e-12


@dataclass(frozen=True, kw_only=True, eq=False)
class CurveTest:
    """A test that groups have one curve: its χ² statistic, degrees of freedom and p-value, and the test by name.

    `observed` and `expected` (G,): weighted events of each group, and those it would have with one curve for all.
    `degrees_of_freedom` is 0 and the statistic NaN where nothing can be said; `notes` say why.
    """

    test: str
    groups: np.ndarray
    statistic: float
    degrees_of_freedom: int
    p_value: float
    observed: np.ndarray
    expected: np.ndarray
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class Scores:
    """Observed and expected events (G,) and the covariance of their differences (G, G): they add up over strata."""

    observed: np.ndarray
    expected: np.ndarray
    covariance: np.ndarray

    def __add__(self, other: Scores) -> Scores:
        return Scores(
            observed=self.observed + other.observed, expected=self.expected + other.expected,
            covariance=self.covariance + other.covariance,
        )  # fmt: skip


def tables_by_stratum(
    time: ArrayLike,
    cause: ArrayLike,
    *,
    group: ArrayLike,
    groups: Sequence | None,
    strata: ArrayLike | None,
    entry: ArrayLike | None = None,
    causes: Sequence | None = None,
) -> list[EventTable]:
    """One table of counts for each stratum, all with the same groups and causes."""
    checks.one_length(time=time, cause=cause, group=group, strata=strata, entry=entry)
    when, which, whose = checks.times("time", time), checks.codes("cause", cause), checks.labels("group", group)
    known = np.unique(whose) if groups is None else np.asarray(groups)
    named = np.arange(1, max(int(which.max(initial=1)), 1) + 1) if causes is None else causes
    since = None if entry is None else checks.times("entry", entry)
    stratum = np.zeros(when.size) if strata is None else checks.labels("strata", strata)
    return [
        event_table(
            when[rows], which[rows], group=whose[rows], groups=known, causes=named,
            entry=None if since is None else since[rows],
        )
        for rows in (stratum == each for each in (np.unique(stratum) if when.size else [0]))
    ]  # fmt: skip


def chi_squared_of(name: str, groups: np.ndarray, scores: Scores, took_part: np.ndarray, events: float) -> CurveTest:
    """The χ² test of scores, among groups that took part (G,): with somebody at risk when events happened."""
    notes = _who_took_part(groups, took_part, events)
    testable = events > 0 and np.count_nonzero(took_part) > 1
    statistic, freedom = _quadratic(scores, took_part) if testable else (np.nan, 0)
    if testable and not freedom:
        notes += (Note(code="NO_OVERLAP", text="No two groups were at risk at a time when events happened."),)
    return CurveTest(
        test=name, groups=groups, statistic=statistic, degrees_of_freedom=freedom,
        p_value=float(stats.chi2.sf(statistic, freedom)) if freedom else np.nan, observed=scores.observed,
        expected=scores.expected, notes=notes,
    )  # fmt: skip


def _quadratic(scores: Scores, took_part: np.ndarray) -> tuple[float, int]:
    """The quadratic form of the scores, on as many degrees of freedom as their covariance has."""
    gap = (scores.observed - scores.expected)[took_part][:-1]
    covariance = scores.covariance[np.ix_(took_part, took_part)][:-1, :-1]
    variance = np.diagonal(covariance)
    scale = np.sqrt(np.where(variance > ROUNDING * scores.expected.max(), variance, 0.0))
    if not (scale > 0).any():
        return np.nan, 0
    safe = np.where(scale > 0, scale, 1.0)
    values, axes = np.linalg.eigh(covariance / np.outer(safe, safe))
    kept = values > RANK
    along = axes.T @ (gap / safe)
    return float(np.sum(along[kept] ** 2 / values[kept])), int(np.count_nonzero(kept))


def _who_took_part(groups: np.ndarray, took_part: np.ndarray, events: float) -> tuple[Note, ...]:
    if events == 0:
        return (Note(code="ZERO_EVENTS", text="No events in any group: there is nothing to test."),)
    absent = [str(group) for group, present in zip(groups, took_part, strict=True) if not present]
    if len(groups) - len(absent) < 2:
        who = f" ({', '.join(absent)} had nobody at risk)" if absent else ""
        return (Note(code="SMALL_N", text=f"Fewer than two groups had anybody at risk when events happened{who}."),)
    if absent:
        text = f"Left out of the test, with nobody at risk when events happened: {', '.join(absent)}."
        return (Note(code="SMALL_N", text=text),)
    return ()
