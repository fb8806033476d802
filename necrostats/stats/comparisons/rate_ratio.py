"""Ratios of two Poisson rates, given the events of both together."""

from __future__ import annotations

import numpy as np
from scipy import stats

from necrostats.errors import StatisticsError, unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.comparisons.common import Contrast, two_sided
from necrostats.stats.proportions import clopper_pearson, mid_p

METHODS = {
    "exact": "conditional exact limits (Clopper–Pearson on the split of events)",
    "mid-P": "conditional mid-P limits",
}
TESTS = {
    "central": "conditional exact test of two rates (twice the smaller tail)",
    "mid-P": "conditional mid-P test of two rates (twice the smaller tail)",
    "minlike": "conditional exact test of two rates (splits no more probable than the one seen)",
}


def rate_ratio(
    events: float,
    exposure: float,
    events_ref: float,
    exposure_ref: float,
    *,
    level: float = 0.95,
    method: str = "exact",
    test: str | None = None,
) -> Contrast:
    """(events / exposure) / (events_ref / exposure_ref), independent Poisson counts, with limits and a p-value.

    Given all events, those of the group are binomial: limits for that share become limits for the ratio.
    `method` "exact" or "mid-P". `test` is "central", "mid-P" or, as R's poisson.test, "minlike"; by default the one
    that agrees with the limits. No events in the reference: the ratio and its upper limit are infinite. No events at
    all or no exposure in a group: NaN and a note. Raises StatisticsError for events without exposure.
    """
    test = test or ("mid-P" if method == "mid-P" else "central")
    _known(method, test)
    checks.confidence_level(level)
    a, b = _count("events", events), _count("events_ref", events_ref)
    time, time_ref = _exposure("exposure", exposure, a), _exposure("exposure_ref", exposure_ref, b)
    notes = _notes(a, b, time, time_ref)
    if not a + b or not time or not time_ref:
        return _contrast(np.full(3, np.nan), method, np.nan, test, notes)
    share = (mid_p if method == "mid-P" else clopper_pearson)(a, a + b, level=level)
    ratios = [_odds(value) * time_ref / time for value in (a / (a + b), share.low, share.high)]
    return _contrast(np.array(ratios), method, _p_value(a, a + b, time / (time + time_ref), test), test, notes)


def _known(method: str, test: str) -> None:
    if method not in METHODS:
        raise unknown_choice("method for a rate ratio", method, METHODS)
    if test not in TESTS:
        raise unknown_choice("test of two rates", test, TESTS)


def _count(name: str, value: float) -> int:
    return int(_single(name, checks.counts(name, value)))


def _exposure(name: str, value: float, events: int) -> float:
    time = float(_single(name, checks.not_negative(name, value)))
    if events and not time:
        raise StatisticsError(f"There are {events} events, but {name} is 0. Check both.")
    return time


def _single(name: str, array: np.ndarray) -> np.ndarray:
    if array.ndim:
        raise StatisticsError(f"{name} holds several numbers: this compares one pair of rates at a time.")
    return array


def _odds(share: float) -> float:
    return share / (1 - share) if share < 1 else np.inf


def _p_value(k: int, total: int, share: float, test: str) -> float:
    if test == "minlike":
        return float(stats.binomtest(k, total, share).pvalue)
    seen = stats.binom(total, share)
    spare = seen.pmf(k) / 2 if test == "mid-P" else 0.0
    return two_sided(seen.cdf(k) - spare, seen.sf(k - 1) - spare)


def _contrast(ratios: np.ndarray, method: str, p_value: float, test: str, notes: tuple[Note, ...]) -> Contrast:
    estimate, low, high = map(float, ratios)
    return Contrast(
        estimate=estimate, low=low, high=high, measure="rate ratio", method=METHODS[method],
        p_value=p_value, test=TESTS[test], notes=notes,
    )  # fmt: skip


def _notes(a: int, b: int, time: float, time_ref: float) -> tuple[Note, ...]:
    if not time or not time_ref:
        return (Note(code="SMALL_N", text="A group has no exposure: its rate is unknown, and nothing is shown."),)
    if not a + b:
        return (Note(code="ZERO_EVENTS", text="No events in either group: there is no ratio of their rates."),)
    if not b:
        return (Note(code="ZERO_EVENTS", text="No events in the reference: the ratio has a lower limit only."),)
    if not a:
        return (Note(code="ZERO_EVENTS", text="No events in the group: the ratio is 0 and has an upper limit only."),)
    return ()
