"""Exact limits by bisection: Clopper and Pearson, Garwood, and Korn and Graubard's on the effective number.

Sources: Clopper CJ, Pearson ES. Biometrika 1934;26:404. Garwood F. Biometrika 1936;28:437. Korn EL, Graubard BI. Survey
Methodology 1998;24:193. The incomplete beta function by Lentz's continued fraction (Abramowitz and Stegun 26.5.8).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

TAIL = 0.025
Z = 1.959963984540054


def clopper_pearson(events: float, n: float) -> tuple[float, float]:
    """The two limits of a share, events and n whole or not."""
    low = 0.0 if events <= 0 else _root(lambda p: beta_share(p, events, n - events + 1) - TAIL, 0, 1)
    high = 1.0 if events >= n else _root(lambda p: beta_share(p, events + 1, n - events) - (1 - TAIL), 0, 1)
    return low, high


def garwood(events: int) -> tuple[float, float]:
    """The two limits of the expected number of events."""
    top = 10 * events + 50
    low = 0.0 if events == 0 else _root(lambda mean: (1 - _poisson_up_to(events - 1, mean)) - TAIL, 0, top)
    return low, _root(lambda mean: TAIL - _poisson_up_to(events, mean), 0, top)


def korn_graubard(pairs: Sequence[tuple[int, int]]) -> tuple[float, float]:
    """The two limits of a share of sessions; each pair is a patient's sessions with an event, and sessions."""
    events, n, clusters = sum(k for k, _ in pairs), sum(m for _, m in pairs), len(pairs)
    if events in (0, n) or clusters < 2:
        return clopper_pearson(events, n)
    share = events / n
    robust = clusters / (clusters - 1) * sum((k - share * m) ** 2 for k, m in pairs) / n**2
    effect = max(1.0, robust / (share * (1 - share) / n))
    effective = min(n, n / effect * (t_quantile(n - 1) / t_quantile(clusters - 1)) ** 2)
    return clopper_pearson(share * effective, effective)


def t_quantile(freedom: float) -> float:
    """The 97.5 % point of Student's t."""

    def tail(t: float) -> float:
        return TAIL - beta_share(freedom / (freedom + t * t), freedom / 2, 0.5) / 2

    return _root(tail, 0, 1e3)


def beta_share(x: float, a: float, b: float) -> float:
    """The regularised incomplete beta function."""
    if x <= 0 or x >= 1:
        return 0.0 if x <= 0 else 1.0
    front = math.exp(math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x))
    if x < (a + 1) / (a + b + 2):
        return front * _fraction(x, a, b) / a
    return 1 - front * _fraction(1 - x, b, a) / b


def _fraction(x: float, a: float, b: float) -> float:
    tiny = 1e-300
    numerator, denominator = 1.0, 1 - (a + b) * x / (a + 1)
    denominator = 1 / (denominator or tiny)
    result = denominator
    for m in range(1, 5000):
        for step in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            denominator = 1 / ((1 + step * denominator) or tiny)
            numerator = (1 + step / numerator) or tiny
            change = denominator * numerator
            result *= change
        if abs(change - 1) < 1e-16:
            break
    return result


def _poisson_up_to(events: int, mean: float) -> float:
    if mean <= 0:
        return 1.0
    return math.fsum(math.exp(k * math.log(mean) - mean - math.lgamma(k + 1)) for k in range(events + 1))


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function passes 0."""
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if function(middle) < 0 else (low, middle)
    return (low + high) / 2
