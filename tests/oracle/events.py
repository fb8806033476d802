"""Adverse events over patients, sessions and patient-days, from METHODS §4 with the default window of 30 days."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from oracle.courses import last_seen
from oracle.tables import Row, day, of_each

WINDOW = 30
ANY = "any adverse event"


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


def events(tables: dict[str, list[Row]]) -> Events:
    """What was recorded after the sessions of every patient."""
    by_patient = {name: of_each(rows) for name, rows in tables.items() if name not in ("patients", "instrument_uses")}
    found = [
        _watched(patient, {name: rows.get(patient["patient_id"], []) for name, rows in by_patient.items()})
        for patient in tables["patients"]
    ]
    watched = [each for each in found if each is not None]
    return Events(
        watched=watched,
        sessions_left_out=len(tables["sessions"]) - sum(each.sessions for each in watched),
        patients_left_out=sum(each is None for each in found),
    )


def _watched(patient: Row, own: dict[str, list[Row]]) -> Watched | None:
    sessions = sorted(own["sessions"], key=day)
    # A stable sort: of sessions on one day an event without a name belongs to the last that is written.
    named = [(row, _session_of(row, sessions)) for row in own["adverse_events"]]
    inside = [(row, home) for row, home in named if home is not None and 0 <= day(row) - day(home) <= WINDOW]
    with_event = {home["session_id"] for _, home in inside}
    kept = [row for row in sessions if row["events_checked"] == "yes" or row["session_id"] in with_event]
    if not kept:
        return None
    spans = _spans(patient, own, sessions, kept)
    found = Watched(sessions=len(kept), days=sum(last - first for first, last in spans))
    own_days = [row for row, _ in inside]
    for row in own["adverse_events"]:
        other = row not in own_days and any(first <= day(row) <= last for first, last in spans)
        if row in own_days or other:
            found.events.update([row["event_type"], ANY])
    for kind, session in {(kind, home["session_id"]) for row, home in inside for kind in (row["event_type"], ANY)}:
        found.sessions_with[kind] += bool(session)
    return found


def _session_of(event: Row, sessions: list[Row]) -> Row | None:
    """The session it names; without a name, the last one up to its day."""
    if event["session_id"] is not None:
        return next(row for row in sessions if row["session_id"] == event["session_id"])
    before = [row for row in sessions if day(row) <= day(event)]
    return before[-1] if before else None


def _spans(patient: Row, own: dict[str, list[Row]], sessions: list[Row], kept: list[Row]) -> list[tuple[int, int]]:
    """For each session watched its first and last watched day."""
    seen = last_seen(patient, own)
    spans = []
    for row in kept:
        later = [day(each) for each in sessions[sessions.index(row) + 1 :]]
        spans.append((day(row), max(day(row), min([day(row) + WINDOW, seen, *later[:1]]))))
    return spans
