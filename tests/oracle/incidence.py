"""Cumulative incidence with competing ends on counts, its delta-method error and its limits, from METHODS §2 and §3.

Source of the error: Marubini E, Valsecchi MG. Analysing Survival Data. Wiley, 1995 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from oracle.limits import Z, clopper_pearson


@dataclass(frozen=True)
class Point:
    """One cause at one time; limits not numbers after the last patient was lost."""

    at_risk: int
    events: int
    censored: int
    estimate: float
    low: float
    high: float


def incidence(ends: list[tuple[int, str]], cause: str, times: list[int]) -> dict[int, Point]:
    """The incidence of `cause` by each time. `ends` are each patient's time and cause, "" for one lost to view."""
    steps = sorted({time for time, _ in ends})
    rows = [_step(ends, cause, time) for time in steps]
    points = {}
    for time in times:
        risk, events, lost = _counts(ends, cause, time)
        past = [row for row in rows if row.time <= time]
        points[time] = Point(risk, events, lost, *_limits(ends, past, time))
    return points


@dataclass(frozen=True)
class _Row:
    time: int
    at_risk: int
    of_cause: int
    of_any: int
    lost: int


def _step(ends: list[tuple[int, str]], cause: str, time: int) -> _Row:
    risk, events, lost = _counts(ends, cause, time)
    return _Row(time, risk, events, sum(when == time and bool(end) for when, end in ends), lost)


def _counts(ends: list[tuple[int, str]], cause: str, time: int) -> tuple[int, int, int]:
    risk = sum(when >= time for when, _ in ends)
    return risk, sum(each == (time, cause) for each in ends), sum(each == (time, "") for each in ends)


def _limits(ends: list[tuple[int, str]], past: list[_Row], time: int) -> tuple[float, float, float]:
    """Estimate and limits; not a number once the last patient was lost with the course still open."""
    n, risk = len(ends), sum(when >= time for when, _ in ends) or (past[-1].at_risk if past else 0)
    if past and time > max(ends)[0] and past[-1].at_risk > past[-1].of_any:
        return math.nan, math.nan, math.nan
    estimate, error = _estimate(past)
    nobody_lost = not any(row.lost for row in past if row.time < time)
    events = sum(row.of_cause for row in past)
    if (n < 30 and all(end for _, end in ends)) or (nobody_lost and events in (0, n)):
        return estimate, *clopper_pearson(events, n)
    if events == 0 or math.isclose(estimate, 1):
        return estimate, *clopper_pearson(risk if events else 0, risk)
    width = Z * error / (estimate * math.log(estimate))
    return estimate, estimate ** math.exp(-width), estimate ** math.exp(width)


def _estimate(past: list[_Row]) -> tuple[float, float]:
    """The share and its standard error after the last of the steps."""
    free, share, path = 1.0, 0.0, []
    for row in past:
        before = free
        share += free * row.of_cause / row.at_risk
        free *= 1 - row.of_any / row.at_risk
        path.append((row, before, share))
    variance = 0.0
    for row, before, then in path:
        n, rest = row.at_risk, share - then
        if n > row.of_any:
            variance += rest**2 * row.of_any / (n * (n - row.of_any))
        variance += before**2 * row.of_cause * (n - row.of_cause) / n**3
        variance -= 2 * rest * before * row.of_cause / n**2
    return share, math.sqrt(max(variance, 0.0))
