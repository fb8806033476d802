"""Events of this quarter, not yet watched to the end, beside those of the last quarter that was."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from necrostats.definitions.adverse_events import AGREE, THIRTY_DAYS, of_types
from necrostats.definitions.indicators import Indicator
from necrostats.definitions.outcomes import end_days
from necrostats.errors import ChoiceError
from necrostats.measures.adverse_events import CHECKED, SESSIONS, Watchful, rates_of
from necrostats.measures.event_follow_up import NO_RECORD, Watched, watched
from necrostats.measures.grouping import counted, session_groups
from necrostats.measures.indicators import kept_events
from necrostats.measures.locking import answerable
from necrostats.measures.needs import EVENTS, EVENTS_CHECKED, needing
from necrostats.registry import periods
from necrostats.registry.tables import Registry
from necrostats.results import Method, Note, Population, Rates

TITLE = "Adverse events of this quarter so far, and of the last one watched to the end"
OF_SESSIONS = "sessions after which somebody looked"


SOURCE = "Korn and Graubard, Survey Methodology 1998;24:193"


@needing(TITLE, (EVENTS, EVENTS_CHECKED))
def watched_quarters(registry: Registry, period: str = "", *, level: float = 0.95) -> Rates:
    """Sessions followed by adverse events, in the last quarter watched to the end and in this one so far.

    This quarter is `period` (of several the last; by default the last of the registry). A session is watched to the end
    once day 30 after it lies before the data lock, or its patient has died; a quarter once all its sessions are. Where
    `period` itself is watched to the end it stands alone. Two further columns, `watched` and `sessions`, count the
    sessions of the quarter that are, and all of them. Raises ChoiceError for a quarter that is not in the registry.

    Counted: sessions after which somebody looked for adverse events, or one is recorded.
    Source: Korn and Graubard, Survey Methodology 1998;24:193.
    """
    quarters, indicators = _quarters(registry), _indicators(registry)
    shown = _shown(quarters, period)
    groups = session_groups(registry, "period")
    seen = watched(registry, groups, THIRTY_DAYS)
    rows = [
        {"variable": each.title, "group": quarter, **row, **quarters.loc[quarter].to_dict()}
        for each in indicators
        for quarter in shown
        for row in _rates(registry, each, seen, groups.labels.index(quarter), level)
    ]
    here = np.isin(seen.group, [groups.labels.index(each) for each in shown])
    return Rates(
        title=TITLE,
        frame=_table(rows, shown),
        population=Population(
            patients=np.unique(seen.patient[here]).size,
            sessions=int(here.sum()),
            left_out={f"sessions {NO_RECORD}": int(quarters.loc[shown, "sessions"].sum() - here.sum())},
        ),
        method=Method(
            estimand=f"share of sessions followed by an adverse event, {THIRTY_DAYS.sentence()}",
            estimator="events over sessions",
            interval="Korn–Graubard, clustered by patient",
            level=level,
            definition=f"window: {THIRTY_DAYS.sentence()}; {CHECKED}",
            references=(SOURCE,),
        ),
        notes=_notes(quarters, shown),
    )


def _indicators(registry: Registry) -> list[Indicator]:
    """Those recorded that count sessions by their adverse events."""
    return [each for each in answerable(registry) if each.event_types and each.of == OF_SESSIONS]


def _quarters(registry: Registry) -> pd.DataFrame:
    """For each quarter with a session how many are watched to the end, and how many there are."""
    sessions = registry.sessions
    ended = pd.Series(_ended(registry), index=sessions.index)
    return pd.DataFrame({"watched": ended, "sessions": 1}).groupby(sessions["period"], observed=True).sum().astype(int)


def _ended(registry: Registry) -> np.ndarray:
    """Sessions (S,) of which the last day that counts lies before the data lock, or whose patient has died."""
    patient, day = registry.position("sessions"), registry.sessions["day"].to_numpy(dtype=np.int64)
    observed = registry.patients["observed_days"].to_numpy(dtype=np.int64)[patient]
    died = end_days(registry, "death")[patient] <= observed
    return (day + THIRTY_DAYS.days <= observed) | died


def _shown(quarters: pd.DataFrame, period: str) -> list[str]:
    """The last quarter up to `period` that is watched to the end, where there is one, and `period`."""
    known = list(quarters.index)
    if not known and not period:
        return []
    this = periods.parse(period)[-1] if period else known[-1]
    if this not in known:
        reach = f"this registry has sessions from {known[0]} to {known[-1]}" if known else "no session is recorded"
        raise ChoiceError(f"No session in {this}: {reach}. Choose a quarter that has one.")
    up_to = quarters.iloc[: known.index(this) + 1]
    ended = up_to.index[up_to["watched"] == up_to["sessions"]]
    return list(dict.fromkeys([*map(str, ended[-1:]), this]))


def _rates(registry: Registry, indicator: Indicator, seen: Watched, group: int, level: float) -> Iterator[dict]:
    counts = of_types(registry, indicator.event_types) & kept_events(registry, indicator)
    if indicator.grade_from:
        counts &= registry.adverse_events[AGREE.column].isin(AGREE.at_least(indicator.grade_from)).to_numpy(dtype=bool)
    yield from rates_of(seen, Watchful.of(seen, group), None, counts, (SESSIONS,), "Clopper–Pearson", level)


def _table(rows: list[dict], shown: list[str]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=[*Rates.columns, "watched", "sessions"])
    table["group"] = pd.Categorical(table["group"], categories=shown, ordered=True)
    return table


def _notes(quarters: pd.DataFrame, shown: list[str]) -> tuple[Note, ...]:
    if not shown:
        return ()
    ended, of = (int(each) for each in quarters.loc[shown[-1], ["watched", "sessions"]])
    held = counted(of, "session", "sessions")
    if ended == of:
        text = f"All {held} of {shown[-1]} have been watched for the whole {THIRTY_DAYS.name}."
    else:
        text = (
            f"{shown[-1]} is provisional: {ended:,} of its {held} {'has' if ended == 1 else 'have'} been watched for "
        )
        text += f"the whole {THIRTY_DAYS.name}."
        text += "" if len(shown) > 1 else " No earlier quarter has been watched to the end."
    return (Note(code="NOT_MATURED", text=text),)
