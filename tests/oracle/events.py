"""Adverse events over patients, sessions and patient-days, from METHODS §4 with the default window of 30 days.

Where the rules leave it open, as necrostats does: both ends of a window are watched days, up to the day before the next
session; a session's own day is always watched, and of two sessions on one day the last has the days that follow.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from oracle.courses import last_seen
from oracle.tables import Row, day, of_each

WINDOW = 30
ANY = "any adverse event"
INSIDE = "inside the window of its session"


@dataclass
class Watched:
    """One patient with at least one session after which somebody looked, or an event is recorded."""

    sessions: int
    days: int
    events: Counter[str] = field(default_factory=Counter)
    sessions_with: Counter[str] = field(default_factory=Counter)


@dataclass(frozen=True)
class Events:
    """The patients watched, with what was left out."""

    watched: list[Watched]
    sessions_left_out: int
    patients_left_out: int
    events_left_out: Counter[str]


def events(tables: dict[str, list[Row]]) -> Events:
    """What was recorded after the sessions of every patient."""
    by_patient = {name: of_each(rows) for name, rows in tables.items() if name not in ("patients", "instrument_uses")}
    out: Counter[str] = Counter()
    found = [
        _watched(patient, {name: rows.get(patient["patient_id"], []) for name, rows in by_patient.items()}, out)
        for patient in tables["patients"]
    ]
    watched = [each for each in found if each is not None]
    return Events(
        watched=watched,
        sessions_left_out=len(tables["sessions"]) - sum(each.sessions for each in watched),
        patients_left_out=sum(each is None for each in found),
        events_left_out=out,
    )


def answerable(tables: dict[str, list[Row]]) -> bool:
    """Whether the unit records at all if somebody looked."""
    return any(row["events_checked"] is not None for row in tables["sessions"])


def _watched(patient: Row, own: dict[str, list[Row]], out: Counter[str]) -> Watched | None:
    """One patient's sessions and events; why an event does not count goes to `out`."""
    sessions = sorted(own["sessions"], key=day)
    homes = [_session_of(row, sessions) for row in own["adverse_events"]]
    placed = [(row, home, _lies(row, home)) for row, home in zip(own["adverse_events"], homes, strict=True)]
    with_event = {home["session_id"] for _, home, where in placed if where == INSIDE}
    kept = [row for row in sessions if row["events_checked"] == "yes" or row["session_id"] in with_event]
    spans = _spans(patient, own, sessions, kept)
    found = Watched(sessions=len(kept), days=len({each for first, last in spans for each in range(first, last + 1)}))
    affected: set[tuple[str, str]] = set()
    for row, home, where in placed:
        kinds = (row["event_type"], ANY)
        if where == INSIDE:
            affected |= {(kind, home["session_id"]) for kind in kinds}
        if where == INSIDE or any(first <= day(row) <= last for first, last in spans):
            found.events.update(kinds)
        else:
            out[where] += 1
    found.sessions_with.update(kind for kind, _ in affected)
    return found if kept else None


def _lies(event: Row, home: Row | None) -> str:
    """Inside the window of its session, or why not."""
    if home is None:
        return "events before any session"
    if day(event) < day(home):
        return "events dated before the session they name"
    return INSIDE if day(event) - day(home) <= WINDOW else "events after the window"


def _session_of(event: Row, sessions: list[Row]) -> Row | None:
    """The session it names; without a name, the last one up to its day, of those on one day the last written."""
    if event["session_id"] is not None:
        return next(row for row in sessions if row["session_id"] == event["session_id"])
    before = [row for row in sessions if day(row) <= day(event)]
    return before[-1] if before else None


def _spans(patient: Row, own: dict[str, list[Row]], sessions: list[Row], kept: list[Row]) -> list[tuple[int, int]]:
    """For each session watched its first and last watched day: its own always, then up to the next session's."""
    seen = last_seen(patient, own)
    spans = []
    for row in kept:
        until_next = [day(each) - 1 for each in sessions[sessions.index(row) + 1 :]]
        spans.append((day(row), max(day(row), min([day(row) + WINDOW, seen, *until_next[:1]]))))
    return spans
