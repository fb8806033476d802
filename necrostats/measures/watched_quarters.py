"""Events of this quarter, not yet watched to the end, beside those of the last quarter that was."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from necrostats.definitions.adverse_events import THIRTY_DAYS
from necrostats.definitions.indicators import INDICATORS, Indicator
from necrostats.definitions.outcomes import end_days
from necrostats.errors import ChoiceError
from necrostats.measures.adverse_events import SESSIONS, Watchful, rates_of
from necrostats.measures.event_follow_up import Watched, of_types, watched
from necrostats.measures.grouping import Grouping, counted, session_groups
from necrostats.measures.needs import EVENTS, EVENTS_CHECKED, needing
from necrostats.registry import periods
from necrostats.registry.tables import Registry
from necrostats.results import Method, Note, Population, Rates

TITLE = "Adverse events of this quarter so far, and of the last one watched to the end"


@needing(TITLE, (EVENTS, EVENTS_CHECKED))
def watched_quarters(registry: Registry, period: str = "", *, level: float = 0.95) -> Rates:
    """How often were sessions followed by adverse events in the last quarter watched to the end, and so far in this one?

    This quarter is `period` (of several the last; by default the last of the registry). A session is watched to the end
    once day 30 after it lies before the data lock, or the patient has died; a quarter once all its sessions are. Where
    `period` itself is watched to the end it stands alone. `watched` and `sessions` count the sessions of a quarter that
    are, and all of them. Raises ChoiceError for a quarter that is not in the registry.

    Counted: sessions after which somebody looked for adverse events, or one is recorded.
    Source: Korn and Graubard, Survey Methodology 1998;24:193.
    """
    groups = session_groups(registry, "period")
    ended, held = _ended(registry), _held(groups)
    watched_to_end = np.bincount(groups.codes[ended & (groups.codes >= 0)], minlength=len(groups.labels))
    this, last = _this(registry, period), _last_ended(groups, watched_to_end, held, _this(registry, period))
    shown = [each for each in dict.fromkeys((last, this)) if each]
    seen = watched(registry, groups, THIRTY_DAYS)
    rows = [
        {**row, "watched": int(watched_to_end[place]), "sessions": int(held[place])}
        for indicator in _indicators()
        for place in [groups.labels.index(each) for each in shown]
        for row in _row(registry, indicator, seen, groups.labels[place], place, level)
    ]
    return Rates(
        title=TITLE,
        frame=_table(rows, shown),
        population=Population(
            patients=len({*seen.patient[np.isin(seen.group, [groups.labels.index(each) for each in shown])]}),
            sessions=int(np.isin(seen.group, [groups.labels.index(each) for each in shown]).sum()),
            left_out={f"sessions of these quarters {UNLOOKED}": _unlooked(rows, shown)},
        ),
        method=Method(
            estimand=f"share of sessions with an adverse event {THIRTY_DAYS.sentence()}",
            estimator="events over sessions",
            interval="Korn–Graubard, clustered by patient",
            level=level,
            definition=" ".join(each.sentence() for each in _indicators()),
            references=("Korn and Graubard, Survey Methodology 1998;24:193",),
        ),
        notes=_notes(this, last, rows),
    )
