"""What each method in common use makes of two-by-two counts: the candidates a printed figure is held against."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy import special

from necrostats.stats.comparisons.choosing import TESTS
from necrostats.stats.comparisons.exact_tests import BOSCHLOO, FISHER, FISHER_MID_P, UNCORRECTED, YATES
from necrostats.stats.comparisons.risk_difference import odds_ratio, risk_difference, risk_ratio
from necrostats.stats.proportions import blaker, clopper_pearson, mid_p, wilson

TEST_TITLES: Mapping[str, str] = {
    "boschloo": BOSCHLOO,
    "fisher": FISHER,
    "fisher mid-P": FISHER_MID_P,
    "chi-squared": UNCORRECTED,
    "yates": YATES,
}


@dataclass(frozen=True, kw_only=True)
class Counts:
    """Events of n in a group and, where there is one, in its reference."""

    k: int
    n: int
    k_ref: int
    n_ref: int

    def swapped(self) -> Counts:
        """The reference against the group."""
        return Counts(k=self.k_ref, n=self.n_ref, k_ref=self.k, n_ref=self.n)

    def given(self) -> tuple[int, int, int, int]:
        """The four counts in the order in which every comparison takes them."""
        return self.k, self.n, self.k_ref, self.n_ref


@dataclass(frozen=True, kw_only=True)
class Limits:
    """Lower and upper limits by one method."""

    low: float
    high: float


def p_values(counts: Counts) -> Mapping[str, float]:
    """Two-sided p by each test in TESTS."""
    return {name: test(*counts.given()).p_value for name, test in TESTS.items()}


def p_value_of(counts: Counts, test: str) -> float:
    """Two-sided p by one test."""
    return TESTS[test](*counts.given()).p_value


def ratios(counts: Counts) -> Mapping[str, float]:
    """Each ratio that is printed of two shares."""
    return {
        "risk ratio": risk_ratio(*counts.given()).estimate,
        "odds ratio": odds_ratio(*counts.given(), method="woolf").estimate,
        "conditional odds ratio": odds_ratio(*counts.given()).estimate,
    }


def ratio_limits(counts: Counts, level: float) -> Mapping[str, Limits]:
    """Limits of a ratio by each method."""
    return {
        "risk ratio, log": _limits(risk_ratio(*counts.given(), level=level)),
        "risk ratio, score": _limits(risk_ratio(*counts.given(), level=level, method="score")),
        "odds ratio, Woolf": _limits(odds_ratio(*counts.given(), level=level, method="woolf")),
        "odds ratio, conditional exact": _limits(odds_ratio(*counts.given(), level=level)),
    }


def difference_limits(counts: Counts, level: float) -> Mapping[str, Limits]:
    """Limits of a risk difference by each method, the Wald interval among them because it is printed so often."""
    p, q = counts.k / counts.n, counts.k_ref / counts.n_ref
    half = _z(level) * np.sqrt(p * (1 - p) / counts.n + q * (1 - q) / counts.n_ref)
    return {
        "Miettinen–Nurminen": _limits(risk_difference(*counts.given(), level=level)),
        "Newcombe": _limits(risk_difference(*counts.given(), level=level, method="newcombe")),
        "Wald": Limits(low=float(p - q - half), high=float(p - q + half)),
    }


def share_limits(k: int, n: int, level: float) -> Mapping[str, Limits]:
    """Limits of one share by each method, the Wald interval among them because it is printed so often."""
    share, z = k / n, _z(level)
    half = z * np.sqrt(share * (1 - share) / n)
    methods = {"Clopper–Pearson": clopper_pearson, "Wilson": wilson, "mid-P": mid_p, "Blaker": blaker}
    found = {name: _limits(method(k, n, level=level)) for name, method in methods.items()}
    return {**found, "Wald": Limits(low=max(0.0, float(share - half)), high=min(1.0, float(share + half)))}


def _z(level: float) -> float:
    return float(special.ndtri((1 + level) / 2))


def _limits(interval: object) -> Limits:
    return Limits(low=float(interval.low), high=float(interval.high))
