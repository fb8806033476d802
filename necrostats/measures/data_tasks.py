"""What to do with the data before the lock: gaps that the figures of a review rest on, counted, with the remedy.

The cases behind the counts, for whoever fills them in.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.definitions.outcomes import last_seen_days, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION
from necrostats.measures.event_follow_up import stent_days
from necrostats.measures.indicators import LONGEST_IN
from necrostats.measures.needs import (
    EVENTS,
    EVENTS_CHECKED,
    INSTRUMENTS,
    INTERVENTIONS,
    REVIEWS,
    SCAN_DAYS,
    SCANS,
    STENTS,
    YIELDS,
    Need,
)
from necrostats.registry import periods
from necrostats.registry.codebook import NECROSECTOMIES
from necrostats.registry.tables import Registry
from necrostats.results import Listing, Method, Population

SILENT_FOR = 90
COLUMNS = ("to do", "open", "of", "how")
CASES = ("patient", "record", "to do")


@dataclass(frozen=True, kw_only=True)
class _Task:
    """Something to fill in: in which rows of a table it is `open`, among those it is asked `of` (both per row)."""

    title: str
    how: str
    table: str
    needs: tuple[Need, ...]
    rows: Callable[[Registry, np.ndarray], tuple[np.ndarray, np.ndarray]]


def data_tasks(registry: Registry, *, period: str = "", level: float = 0.95) -> Listing:
    """What is open in the data and should be filled in before the lock, counted, the sessions those of `period`.

    Sessions without word that somebody looked for events, necrosectomies without a yield or an instrument, patients
    without a scan, a review, or word for 90 days while unresolved, lumen-apposing stents in for more than 28 days,
    events without a grade. What the registry does not keep at all is not listed. ChoiceError for what is no period.

    Counted: sessions, patients, stents and events in which a figure of a review lacks something.
    Source: a count or description, common practice.
    """
    rows = [
        {"to do": task.title, "open": int(lacking.sum()), "of": int(asked.sum()), "how": task.how}
        for task, lacking, asked in _open(registry, period)
    ]
    rows += _findings(registry)
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    return _listing("To do with the data before the lock", frame, registry, level)


def open_cases(registry: Registry, *, period: str = "", level: float = 0.95) -> Listing:
    """The same, one row a record, by the registry's own ids: for whoever fills them in, not to be passed on.

    Counted: sessions, patients, stents and events in which a figure of a review lacks something.
    Source: a count or description, common practice.
    """
    rows = [row for task, lacking, _ in _open(registry, period) for row in _named(registry, task, lacking)]
    return _listing("Open in the data, by record", pd.DataFrame(rows, columns=list(CASES)), registry, level)


def _open(registry: Registry, period: str) -> Iterable[tuple[_Task, np.ndarray, np.ndarray]]:
    """Each task of which something is open: the rows of its table that lack it, and those that are asked."""
    inside = registry.sessions["period"].isin(periods.parse(period)).to_numpy() if period else _everywhere(registry)
    for task in _TASKS:
        if all(need.met(registry) for need in task.needs):
            lacking, asked = task.rows(registry, inside)
            if lacking.any():
                yield task, lacking & asked, asked


def _everywhere(registry: Registry) -> np.ndarray:
    return np.ones(len(registry.sessions), dtype=bool)


def _named(registry: Registry, task: _Task, lacking: np.ndarray) -> list[dict[str, str]]:
    table = registry.tables[task.table]
    own = next((name for name in table.columns if name.endswith("_id") and name != "patient_id"), "patient_id")
    ids = table.loc[lacking, ["patient_id", own] if own != "patient_id" else ["patient_id"]].astype(str)
    return [
        {"patient": row[0], "record": row[-1] if own != "patient_id" else "", "to do": task.title}
        for row in ids.itertuples(index=False, name=None)
    ]


def _findings(registry: Registry) -> list[dict[str, object]]:
    """The findings that stop or ask, as one task."""
    severity = registry.findings["severity"]
    waiting = int(severity.isin(["stops", "asks"]).sum())
    how = "Run the template registry_check: it lists each with its row and what to type."
    of = len(severity)
    return [{"to do": "Answer the findings that stop or ask", "open": waiting, "of": of, "how": how}] * bool(waiting)


def _unlooked(registry: Registry, inside: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    looked = registry.sessions["events_checked"].fillna(False).to_numpy(dtype=bool)
    return inside & ~looked, inside


def _cut(registry: Registry) -> np.ndarray:
    return registry.sessions["session_type"].isin(NECROSECTOMIES).to_numpy()


def _without_yield(registry: Registry, inside: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    sessions, asked = registry.sessions, inside & _cut(registry)
    amount = sessions[["yield_low", "yield_high", "yield_words"]].notna().any(axis=1).to_numpy()
    used = np.zeros(len(sessions), dtype=bool)
    used[registry.position("instrument_uses", "sessions")[registry.instrument_uses["yield_low"].notna()]] = True
    return asked & ~amount & ~used, asked


def _without_instrument(registry: Registry, inside: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    asked = inside & _cut(registry)
    named = np.zeros(len(registry.sessions), dtype=bool)
    named[registry.position("instrument_uses", "sessions")] = True
    return asked & ~named, asked


def _treated(registry: Registry, inside: np.ndarray) -> np.ndarray:
    """Which patients had one of the sessions."""
    found = np.zeros(len(registry.patients), dtype=bool)
    found[registry.position("sessions")[inside]] = True
    return found


def _without_later(table: str) -> Callable[[Registry, np.ndarray], tuple[np.ndarray, np.ndarray]]:
    def rows(registry: Registry, inside: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        later = (registry.tables[table]["day"] > 0).fillna(False).to_numpy(dtype=bool)
        seen = np.zeros(len(registry.patients), dtype=bool)
        seen[registry.position(table)[later]] = True
        asked = _treated(registry, inside) & (registry.patients["vital_status"] != "dead").to_numpy(dtype=bool)
        return asked & ~seen, asked

    return rows


def _silent(registry: Registry, inside: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Patients without an end, last heard of more than 90 days before the lock, and before day 180."""
    ends = outcomes(registry, DOCUMENTED_RESOLUTION)
    asked = (ends.cause == 0) & ~ends.at_horizon
    lock = registry.patients["observed_days"].fillna(0).to_numpy(dtype=np.int64)
    return asked & (lock - last_seen_days(registry) > SILENT_FOR), asked


def _overdue(registry: Registry, inside: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Lumen-apposing stents known to be in place, for more than 28 days at the last contact."""
    stents, (end, _) = registry.stents, stent_days(registry)
    still_in = (stents["end_reason"] == "in_place").fillna(False).to_numpy(dtype=bool)
    asked = (stents["stent_type"] == "lumen_apposing").to_numpy() & still_in
    return asked & (end - stents["placed_day"].fillna(0).to_numpy(dtype=np.int64) > LONGEST_IN), asked


def _ungraded(registry: Registry, inside: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    asked = np.ones(len(registry.adverse_events), dtype=bool)
    return registry.adverse_events["agree_grade"].isna().to_numpy(), asked


_TASKS = (
    _Task(
        title="Look for adverse events after each session",
        how="Fill in events_checked: yes where somebody looked, whatever was found.",
        table="sessions",
        needs=(EVENTS, EVENTS_CHECKED),
        rows=_unlooked,
    ),
    _Task(
        title="Write down the yield of each necrosectomy",
        how="Fill in yield_low, yield_high and yield_unit; nothing removed is 0.",
        table="sessions",
        needs=(YIELDS,),
        rows=_without_yield,
    ),
    _Task(
        title="Name the instruments of each necrosectomy",
        how="Add a row for each class used to instrument_uses.",
        table="sessions",
        needs=(INSTRUMENTS,),
        rows=_without_instrument,
    ),
    _Task(
        title="Enter the scans after the index drainage",
        how="Add a row a scan; without one nobody can be counted as resolved.",
        table="patients",
        needs=(SCAN_DAYS,),
        rows=_without_later("scans"),
    ),
    _Task(
        title="Enter the clinical reviews after the index drainage",
        how="Add a row a review, with symptom_free.",
        table="patients",
        needs=(REVIEWS,),
        rows=_without_later("reviews"),
    ),
    _Task(
        title=f"Find out how unresolved patients are who have not been heard of for {SILENT_FOR} days",
        how="Fill in last_contact_day and vital_status.",
        table="patients",
        needs=(SCANS, REVIEWS, INTERVENTIONS),
        rows=_silent,
    ),
    _Task(
        title=f"Ask about lumen-apposing stents that are in for more than {LONGEST_IN} days",
        how="Fill in removed_day, or settle with the team when they come out.",
        table="stents",
        needs=(STENTS,),
        rows=_overdue,
    ),
    _Task(
        title="Grade the adverse events",
        how="Fill in agree_grade.",
        table="adverse_events",
        needs=(EVENTS,),
        rows=_ungraded,
    ),
)


def _listing(title: str, frame: pd.DataFrame, registry: Registry, level: float) -> Listing:
    return Listing(
        title=title,
        frame=frame,
        population=Population(patients=len(registry.patients)),
        method=Method(
            estimand="a listing, not an estimate",
            estimator="records in which something is open, counted",
            interval="none",
            level=level,
        ),
    )
