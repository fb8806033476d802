"""Events and uses tied to the session they belong to, by what it is called or by its day, and events to their stent."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from necrostats.registry.columns import LATEST
from necrostats.registry.export.layout import RowsLayout
from necrostats.registry.export.table_drafts import NOWHERE, Made, Making, Mark, Origin
from necrostats.registry.reading import count

UNDER = ("instrument_uses", "adverse_events")


def with_their_sessions(making: Making, makers: Sequence[RowsLayout]) -> Making:
    """The uses and events with their sessions, and the events with their stents; ids of both are given before."""
    sessions = making.tables["sessions"]
    naming = any(making.tables[name].text("session").filled.any() for name in UNDER)
    known = _known_sessions(sessions) if naming else {}
    events, by_day = making.tables["adverse_events"], [number for number, rows in enumerate(makers) if rows.by_day]
    events = _with_session(events, sessions, known)
    events = _with_session_of_the_day(events, sessions, np.isin(events.maker, by_day))
    return making.with_tables(
        instrument_uses=_with_session(making.tables["instrument_uses"], sessions, known),
        adverse_events=_with_stent(events, making.tables["stents"]),
    )


def _known_sessions(sessions: Made) -> dict[tuple[int, str], int]:
    """(patient, key of a session as the export writes it) → row; keys that two sessions share are left out."""
    known: dict[tuple[int, str], int] = {}
    own, numbers = sessions.text("session").plain(), sessions.number
    for row, person in enumerate(sessions.person.tolist()):
        key = (person, own[row] or (str(numbers[row]) if numbers[row] else ""))
        if key[1]:
            known[key] = NOWHERE if key in known else row
    return {key: row for key, row in known.items() if row != NOWHERE}


def _with_session(made: Made, sessions: Made, known: dict[tuple[int, str], int]) -> Made:
    """Rows made in a session's cell have its id, and an event its day; others have the session that they name."""
    parent = made.parent.copy()
    named = made.text("session").plain()
    lost = []
    for row in np.flatnonzero((named != "") & (parent < 0)):
        number = re.search(r"0*([0-9]+)$", named[row])
        keys = [named[row], *([number[1]] if number else [])]
        parent[row] = next((known[made.person[row], key] for key in keys if (made.person[row], key) in known), NOWHERE)
        if parent[row] < 0:
            lost.append(row)
    made = made.with_all("session_id", sessions.text("session_id").or_blank(parent))
    at = np.array(lost, dtype=np.int64)
    mark = Mark(
        rule="NO_SUCH_SESSION",
        at=at,
        column="session",
        severity="stops",
        takes="cell",
        problem="is none of the patient's sessions",
        origin=made.origin("session").take(at),
        remedy="Write the number of the session, or the key it has in the sheet of sessions.",
    )
    read_in_session = np.flatnonzero(made.parent >= 0)
    made = replace(made.with_marks(mark), parent=parent)
    return with_day(made, sessions, read_in_session) if made.table.name == "adverse_events" else made


def with_day(made: Made, sessions: Made, rows: np.ndarray, column: str = "day") -> Made:
    """An event or stent read from a session's own cell happened on the session's day."""
    for latest in ("", LATEST):
        texts = sessions.text("day" + latest).take(made.parent[rows])
        if texts.filled.any():
            made = made.with_text(column + latest, rows[texts.filled], texts.take(texts.filled))
    return made


def _with_session_of_the_day(events: Made, sessions: Made, by_day: np.ndarray) -> Made:
    """Events that name no session, with the one that the patient had on their day, where `by_day` (N,) says so."""
    held: dict[tuple[int, str], list[int]] = {}
    exact = ~sessions.text("day" + LATEST).filled
    for row, (person, day) in enumerate(zip(sessions.person.tolist(), sessions.text("day").plain(), strict=True)):
        if day and exact[row]:
            held.setdefault((person, day), []).append(row)
    free = (events.parent < 0) & ~events.text("session").filled & ~events.text("day" + LATEST).filled
    days = events.text("day").plain()
    near = {
        row: held[events.person[row], days[row]]
        for row in np.flatnonzero(free)
        if (events.person[row], days[row]) in held
    }
    one = {row: rows[0] for row, rows in near.items() if len(rows) == 1}
    linked = np.array([row for row in one if by_day[row]], dtype=np.int64)
    parent = events.parent.copy()
    parent[linked] = [one[row] for row in linked.tolist()]
    several = np.array([row for row, rows in near.items() if len(rows) > 1 and by_day[row]], dtype=np.int64)
    not_linked = np.array([row for row in one if not by_day[row]], dtype=np.int64)
    texts = sessions.text("session_id").take(parent[linked])
    events = replace(events.with_text("session_id", linked, texts), parent=parent)
    return events.with_marks(_several_sessions(events, several), *_without_session(events, not_linked))


def _several_sessions(events: Made, at: np.ndarray) -> Mark:
    return Mark(
        rule="WHICH_SESSION",
        at=at,
        column="day",
        severity="asks",
        problem="names no session, and the patient had several on that day; it is linked to none",
        origin=events.origin("day").take(at),
        remedy="Name the session, or take away one of the sessions if it is a copy.",
    )


def _without_session(events: Made, at: np.ndarray) -> Iterator[Mark]:
    """Said once, at the first of them."""
    if len(at):
        yield Mark(
            rule="NO_SESSION_NAMED",
            at=at[:1],
            column="session_id",
            severity="asks",
            problem=f"is one of {count(len(at), 'event', 'events')} on the day of a session that name none, and so are "
            "linked to none",
            origin=Origin.none(1),
            remedy="If they belong to the session of their day, write by_day = true in their [[sheet.rows]].",
        )


def _with_stent(events: Made, stents: Made) -> Made:
    """The events with the stent that they name by what the export calls it."""
    named, own = events.text("stent").plain(), stents.text("stent").plain()
    if not (named != "").any():
        return events
    known: dict[tuple[int, str], int] = {}
    for row, key in enumerate(zip(stents.person.tolist(), own, strict=True)):
        known[key] = NOWHERE if key in known else row
    keys = list(zip(events.person.tolist(), named, strict=True))
    meant = np.array([known.get(key, NOWHERE) if key[1] else NOWHERE for key in keys], dtype=np.int64)
    lost = np.flatnonzero((meant == NOWHERE) & (named != ""))
    events = events.with_all("stent_id", stents.text("stent_id").or_blank(meant))
    return events.with_marks(
        Mark(
            rule="NO_SUCH_STENT",
            at=lost,
            column="stent_id",
            severity="stops",
            takes="cell",
            problem="is none of the patient's stents",
            origin=events.origin("stent_id").take(lost),
            remedy="Write what the stent is called in the sheet of stents.",
        )
    )
