"""How strong something unmeasured would have to be to explain an association away.

VanderWeele TJ, Ding P. Ann Intern Med 2017;167:268-274 (formulas from memory).
"""

from __future__ import annotations

import numpy as np

from necrostats.errors import StatisticsError
from necrostats.stats import checks

PER_STANDARD_DEVIATION = 0.91  # log risk ratio of a difference of one standard deviation, as in the paper


def e_value(risk_ratio: float) -> float:
    """The risk ratio that a confounder would need with both exposure and outcome to explain this one: 1 at least."""
    ratio = checks.positive("risk_ratio", risk_ratio)
    ratio = max(ratio, 1 / ratio)
    return float(ratio + np.sqrt(ratio * (ratio - 1)))


def e_value_of_difference(difference: float, standard_deviation: float) -> float:
    """The E-value of a difference of means, taken as the risk ratio exp(0.91 · difference / standard deviation)."""
    if not np.isfinite(difference):
        raise StatisticsError(f"difference is {difference}: it must be one number.")
    sd = checks.positive("standard_deviation", standard_deviation)
    return e_value(float(np.exp(PER_STANDARD_DEVIATION * difference / sd)))


def e_value_of_limits(low: float, high: float, standard_deviation: float) -> float:
    """The E-value of the limit nearer to no difference; 1 where the interval holds it."""
    if low <= 0 <= high:
        return 1.0
    return e_value_of_difference(low if low > 0 else high, standard_deviation)
