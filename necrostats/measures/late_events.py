"""What was recorded since a lock of quarters whose review is already written: nothing falls between two reports."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from necrostats.definitions.adverse_events import THIRTY_DAYS
from necrostats.measures.event_follow_up import whole_histories
from necrostats.measures.grouping import counted
from necrostats.measures.needs import unanswered
from necrostats.measures.restatement import NO_LOCK, last_period, opened
from necrostats.registry import periods
from necrostats.registry.comparing import ADDED, CHANGED, versions
from necrostats.registry.lock import Lock
from necrostats.registry.tables import Registry, session_of_events
from necrostats.results import Method, Population, Result, Statements

BEFORE, SINCE = "before the lock", "since the lock"
COLUMNS = ("quarter", "what", "detail", "grade", "record", "patient", "day", "session", "days_after", "happened")
DEATH = "death"


def late_events(registry: Registry, lock: str | Path = "", *, period: str = "") -> Result:
    """Adverse events and deaths recorded since the last lock that belong to quarters reported before it.

    `lock` is the folder that `necrostats lock` wrote; without one the question stays unanswered. An event belongs to
    the quarter of the session it names, or else of the last one on or before its day; a death to the quarter of the
    index drainage. `period` keeps those of some quarters. `days_after` counts from that session, or from the index
    drainage; `happened` says whether the day lies before or after the data lock of then. Raises as `restatement` does.

    Counted: adverse events and deaths that the lock does not hold, of quarters up to its last.
    Source: common practice, no source.
    """
    title = "Adverse events and deaths recorded since the last lock"
    wanted = periods.parse(period) if period else ()
    whole_histories(registry, "What was recorded since a lock")
    if not lock:
        return unanswered(registry, title, [NO_LOCK])
    locked = opened(registry, lock)
    found = _found(registry, locked)
    earlier = found["quarter"].isin([*_up_to(registry, locked)]) & (found["quarter"].isin(wanted) | (not wanted))
    late = found[earlier].reset_index(drop=True)
    return Statements(
        title=f"{title} ({last_period(locked)})",
        frame=late,
        population=Population(
            patients=late["patient"].nunique(),
            left_out={"adverse events and deaths of other quarters": int(np.count_nonzero(~earlier))},
        ),
        method=Method(
            estimand="adverse events and deaths that the lock does not hold, by the quarter they belong to",
            estimator="a listing",
            interval="none",
            level=0.95,
            definition=f"events count {THIRTY_DAYS.sentence()}; all are listed, whenever they happened",
        ),
        said=tuple(_said(late, locked)),
    )


def _up_to(registry: Registry, locked: Lock) -> Iterator[str]:
    """The quarters up to the last of the lock."""
    last = periods.ordinal(locked.periods[-1]) if locked.periods else -1
    return (each for each in registry.periods if periods.ordinal(each) <= last)


def _found(registry: Registry, locked: Lock) -> pd.DataFrame:
    """Every adverse event and death that the lock does not hold."""
    differences = versions(locked.registry, registry).differences
    known = locked.registry.patients.set_index("patient_id")["observed_days"].rename(index=str)
    rows = pd.concat([_events(registry, differences), _deaths(registry, differences)], ignore_index=True)
    before = rows["day"] <= rows["patient"].map(known).fillna(-1)
    rows["happened"] = np.where(before, BEFORE, SINCE)
    ordered = rows.sort_values(["quarter", "patient", "day"], kind="stable", key=_in_time)
    return ordered[list(COLUMNS)].reset_index(drop=True)


def _in_time(column: pd.Series) -> pd.Series:
    return column.map(lambda each: periods.ordinal(each) if each else -1) if column.name == "quarter" else column


def _places(differences: pd.DataFrame) -> np.ndarray:
    """The row of today's table of each difference."""
    return differences["record"].str.removeprefix("now ").astype(np.int64).to_numpy()


def _events(registry: Registry, differences: pd.DataFrame) -> pd.DataFrame:
    added = differences[(differences["kind"] == ADDED) & (differences["table"] == "adverse_events")]
    place = _places(added)
    events, session = registry.adverse_events.iloc[place], session_of_events(registry)[place]
    sessions, held = registry.sessions.iloc[session.clip(0)], session >= 0
    index = registry.patients["index_period"].iloc[registry.position("adverse_events")[place]]
    days = events["day"].to_numpy(dtype=np.int64)
    since = days - np.where(held, sessions["day"].to_numpy(dtype=np.int64), 0) if len(place) else days
    return pd.DataFrame(
        {
            "quarter": np.where(held, _plain(sessions["period"]), _plain(index)) if len(place) else [],
            "what": "adverse event",
            "detail": _plain(events["event_type"]),
            "grade": _plain(events["agree_grade"]),
            "record": _plain(events["event_id"]),
            "patient": _plain(events["patient_id"]),
            "day": days,
            "session": np.where(held, _plain(sessions["session_id"]), "") if len(place) else [],
            "days_after": since,
        }
    )


def _deaths(registry: Registry, differences: pd.DataFrame) -> pd.DataFrame:
    """Deaths of patients who were alive at the lock, or are not in it."""
    of_patients = differences[differences["table"] == "patients"]
    news = (of_patients["kind"] == CHANGED) & (of_patients["column"] == "vital_status") & (of_patients["now"] == "dead")
    place = _places(of_patients[news | (of_patients["kind"] == ADDED)])
    patients = registry.patients.iloc[place]
    died = patients[(patients["vital_status"] == "dead").fillna(False).to_numpy(dtype=bool)]
    days = died["death_day"].fillna(died["last_contact_day"]).to_numpy(dtype=np.int64)
    return pd.DataFrame(
        {
            "quarter": _plain(died["index_period"]),
            "what": DEATH,
            "detail": _plain(died["death_cause"]),
            "grade": "",
            "record": "",
            "patient": _plain(died["patient_id"]),
            "day": days,
            "session": "",
            "days_after": days,
        }
    )


def _plain(values: pd.Series) -> np.ndarray:
    return values.astype(object).fillna("").to_numpy(dtype=object)


def _said(late: pd.DataFrame, locked: Lock) -> Iterator[str]:
    """One sentence a quarter."""
    if late.empty:
        last = locked.periods[-1] if locked.periods else "the lock"
        yield f"No adverse event or death recorded since the lock belongs to a quarter up to {last}."
    for quarter, rows in late.groupby("quarter", sort=False):
        yield f"{quarter}: {_counts(rows)} recorded since the lock."


def _counts(rows: pd.DataFrame) -> str:
    died = int(np.count_nonzero(rows["what"] == DEATH))
    happened = [(len(rows) - died, "adverse event", "adverse events"), (died, DEATH, "deaths")]
    return " and ".join(counted(*each) for each in happened if each[0])
