"""How long a series was followed: the reverse Kaplan–Meier median."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from necrostats.stats import checks
from necrostats.stats.incidence import kaplan_meier
from necrostats.stats.reading_curves import Quantile, quantile


def follow_up(
    time: ArrayLike,
    cause: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    group: ArrayLike | None = None,
    groups: Sequence | None = None,
    p: float = 0.5,
    level: float = 0.95,
    transform: str = "log-log",
) -> Quantile:
    """Time by which follow-up of a share `p` had ended, by group (G,): the end of follow-up is the event.

    One row a subject; an event of any cause (`cause` > 0) cuts follow-up short and is censored. NaN and a note where
    not reached. Schemper M, Smith TL. Control Clin Trials 1996;17:343-346. Raises StatisticsError as event_table does.
    """
    ended = np.asarray(checks.codes("cause", cause)) == 0
    curve = kaplan_meier(time, ended, entry=entry, group=group, groups=groups, level=level, transform=transform)
    return quantile(curve, p)
