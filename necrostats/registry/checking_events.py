"""An adverse event that was set aside is not "no event": its session no longer says that it was watched."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from necrostats.registry.drafts import Draft, Flag
from necrostats.registry.findings import DUPLICATE_ROW, FOLLOWS

EVENT_CELL = "event"
"""The target of an export's cell of a session that may hold an event; no column of the codebook."""
_BEYOND = 1 << 23


def lost_events(draft: Draft) -> Iterator[Flag]:
    """Sessions that say somebody looked, and of which an adverse event was set aside."""
    sessions = draft["sessions"]
    if not sessions.given:
        return
    lost = np.zeros(len(sessions), dtype=bool)
    lost[_by_their_cell(draft)] = True
    rows = _by_their_rows(draft)
    lost[rows[rows >= 0]] = True
    yield Flag(
        rule="EVENT_SET_ASIDE",
        table="sessions",
        at=np.flatnonzero(sessions.kept & lost & sessions.yes("events_checked")),
        severity="notes",
        column="events_checked",
        takes="cell",
        problem="says that somebody looked for adverse events, but one of this session was set aside: the session "
        "leaves the rates of adverse events, and does not count as one without",
        remedy="Mend the event: this one follows.",
    )


def _by_their_cell(draft: Draft) -> np.ndarray:
    """Sessions whose own cell may have held the event."""
    cells = [each.at for each in draft.taken if (each.table, each.column) == ("sessions", EVENT_CELL)]
    return np.concatenate([*cells, np.empty(0, dtype=np.int64)])


def _by_their_rows(draft: Draft) -> np.ndarray:
    """For each event set aside for its own sake, the row of its session: the one it names, else the last by its day."""
    own = [
        each.at
        for each in draft.taken
        if (each.table, each.scope) == ("adverse_events", "row") and each.rule not in (DUPLICATE_ROW, FOLLOWS)
    ]
    rows = np.concatenate([*own, np.empty(0, dtype=np.int64)])
    named = draft.link("adverse_events", "session_id")[rows].astype(np.int64)
    return np.where(named >= 0, named, _last_before(draft, rows))


def _last_before(draft: Draft, rows: np.ndarray) -> np.ndarray:
    """The patient's last session up to the day of each event; -1 where there is none, or no day."""
    sessions, events = draft["sessions"], draft["adverse_events"]
    held = np.flatnonzero(sessions.kept & sessions.known("day"))
    key = draft.link("sessions")[held] * np.int64(_BEYOND) + sessions.numbers("day")[held].astype(np.int64)
    order = np.argsort(key, kind="stable")
    owner, day = draft.link("adverse_events")[rows].astype(np.int64), events.numbers("day")[rows]
    wanted = owner * _BEYOND + np.nan_to_num(day, nan=-1).astype(np.int64)
    place = np.searchsorted(key[order], wanted, side="right") - 1
    found = np.append(held[order], -1)[place]
    same = np.append(draft.link("sessions"), -2)[found] == owner
    return np.where(same & (owner >= 0) & ~np.isnan(day), found, -1)
