"""Two groups compared: differences and ratios with limits that hold at small numbers, and tests by name."""

from necrostats.stats.comparisons.common import Contrast, Test
from necrostats.stats.comparisons.rate_ratio import rate_ratio
from necrostats.stats.comparisons.risk_difference import odds_ratio, risk_difference, risk_ratio
from necrostats.stats.comparisons.stratified import mantel_haenszel
from necrostats.stats.comparisons.two_shares import (
    ChosenContrast,
    boschloo,
    chi_squared,
    compare_proportions,
    fisher,
    fisher_mid_p,
    freeman_halton,
    yates,
)

__all__ = [
    "ChosenContrast",
    "Contrast",
    "Test",
    "boschloo",
    "chi_squared",
    "compare_proportions",
    "fisher",
    "fisher_mid_p",
    "freeman_halton",
    "mantel_haenszel",
    "odds_ratio",
    "rate_ratio",
    "risk_difference",
    "risk_ratio",
    "yates",
]
