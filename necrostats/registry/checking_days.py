"""Rules about the order of days: nothing after death or the data lock, removal after placing, days that swap."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from necrostats.registry import periods
from necrostats.registry.codebook import LONGEST_LUMEN_APPOSING_DAYS, TABLES
from necrostats.registry.drafts import Cells, Draft, Flag


def ranges(draft: Draft) -> Iterator[Flag]:
    """The last day that a day can be does not lie before it, nor stand alone."""
    for name, table in draft.tables.items():
        for column in table.table.columns if table.given else ():
            if column.kind != "day" or not table.known(column.latest).any():
                continue
            first, last = table.numbers(column.name), table.numbers(column.latest)
            backwards = table.kept & ((last < first) | (np.isnan(first) & ~np.isnan(last)))
            yield Flag(
                rule="DAY_RANGE",
                table=name,
                at=np.flatnonzero(backwards),
                severity="stops",
                column=column.latest,
                takes="cell",
                problem=f"is not on or after {column.name}",
                remedy=f"{column.latest} is the last day that {column.name} can be; leave it blank for an exact day.",
            )


def after_the_end(draft: Draft) -> Iterator[Flag]:
    """Nothing happens after death, and nothing is known after the data lock: the later thing goes."""
    patients = draft["patients"]
    death = np.append(patients.latest("death_day"), np.nan)
    lock = np.append(patients.numbers("observed_days"), np.nan)
    for name, column in _days():
        table, owner = draft[name], draft.patients_of(name)
        if not len(table):
            continue
        day = table.numbers(column)
        late = {
            "AFTER_DEATH": (day > death[owner], "lies after the patient's death"),
            "AFTER_LOCK": (
                (day > lock[owner]) & ~(day > death[owner]),
                "lies after observed_days, the patient's data lock",
            ),
        }
        for rule, (broken, problem) in late.items():
            yield Flag(
                rule=rule,
                table=name,
                at=np.flatnonzero(table.kept & broken),
                severity="stops",
                column=column,
                takes="cell",
                problem=problem,
                remedy="Correct this day, or the patient's death_day or observed_days.",
            )


def after_last_contact(draft: Draft) -> Iterator[Flag]:
    """A record after the last day the patient is said to have been under observation, at its earliest."""
    patients = draft["patients"]
    contact = np.append(patients.latest("last_contact_day"), np.nan)
    for name, column in _days():
        table = draft[name]
        if not len(table):
            continue
        later = table.kept & (table.numbers(column) > contact[draft.patients_of(name)])
        yield Flag(
            rule="AFTER_LAST_CONTACT",
            table=name,
            at=np.flatnonzero(later),
            severity="asks",
            column=column,
            problem="lies after last_contact_day, the last day the patient is known to have been under observation",
            remedy="Correct this day, or the patient's last_contact_day. Both are kept: seen until this day.",
        )


def _days() -> list[tuple[str, str]]:
    return [
        (name, column.name)
        for name, table in TABLES.items()
        for column in table.columns
        if column.kind == "day" and name != "patients"
    ]


def removed_before_placed(draft: Draft) -> Iterator[Flag]:
    """A stent is not removed before it is placed."""
    stents = draft["stents"]
    yield Flag(
        rule="REMOVED_BEFORE_PLACED",
        table="stents",
        at=np.flatnonzero(stents.kept & (stents.latest("removed_day") < stents.numbers("placed_day"))),
        severity="stops",
        column="removed_day",
        takes="cell",
        problem="lies before placed_day",
        remedy="Correct one of the two days.",
    )


def long_in_place(draft: Draft) -> Iterator[Flag]:
    """A lumen-apposing stent known to have stayed, or still to be in place, after more than 28 days."""
    stents, patients = draft["stents"], draft["patients"]
    owner = draft.patients_of("stents")
    last_seen = np.fmin(
        np.append(patients.numbers("last_contact_day"), np.nan), np.append(patients.numbers("death_day"), np.nan)
    )[owner]
    until = np.where(stents.holds("end_reason", ["in_place"]), last_seen, np.nan)
    until = np.where(stents.known("removed_day"), stents.numbers("removed_day"), until)
    dwell = until - stents.latest("placed_day")
    apposing = stents.holds("stent_type", ["lumen_apposing"])
    at = np.flatnonzero(stents.kept & apposing & (dwell > LONGEST_LUMEN_APPOSING_DAYS))
    says = [f"is a lumen-apposing stent that was in place for {days:.0f} days" for days in dwell[at]]
    yield Flag(
        rule="LONG_IN_PLACE",
        table="stents",
        at=at,
        severity="notes",
        column="stent_id",
        problem=np.array(says, dtype=object),
        remedy=f"More than {LONGEST_LUMEN_APPOSING_DAYS} days: for review of the series, not for recalling a stent.",
    )


def out_of_order(draft: Draft) -> Iterator[Flag]:
    """Sessions written in another order than their days, or in a period that runs against their days."""
    sessions = draft["sessions"]
    rows = np.flatnonzero(sessions.kept)
    owner, day = draft.link("sessions")[rows], sessions.numbers("day")[rows]
    written = np.argsort(owner, kind="stable")
    by_day = np.lexsort((day, owner))
    period = _ordinals(sessions.cells["period"])[rows]
    for order, value, column, problem in (
        (written, day, "day", "is earlier than the day of the session above it"),
        (by_day, period, "period", "is earlier than the period of the session before it"),
    ):
        same = owner[order][1:] == owner[order][:-1]
        back = same & (value[order][1:] < value[order][:-1])
        yield Flag(
            rule="OUT_OF_ORDER",
            table="sessions",
            at=np.sort(rows[order[1:][back]]),
            severity="asks",
            column=column,
            problem=problem,
            remedy="Is the order right? A swapped day and month shows itself so. The value is kept.",
        )


def _ordinals(periods_of: Cells) -> np.ndarray:
    ordinals = [periods.ordinal(label) if label else np.nan for label in periods_of.values]
    return np.array(ordinals, dtype=np.float64)[periods_of.which]


def event_before_session(draft: Draft) -> Iterator[Flag]:
    """An event before the day of the session it is put down to."""
    events = draft["adverse_events"]
    session = draft.link("adverse_events", "session_id")
    started = np.append(draft["sessions"].numbers("day"), np.nan)[session]
    yield Flag(
        rule="EVENT_BEFORE_SESSION",
        table="adverse_events",
        at=np.flatnonzero(events.kept & (events.latest("day") < started)),
        severity="asks",
        column="day",
        problem="lies before the day of the session it is put down to",
        remedy="Correct the day, or the session_id. Both are kept.",
    )


def two_kinds_of_period(draft: Draft) -> Iterator[Flag]:
    """Calendar quarters and private periods cannot stand in one order: the rarer kind is set aside."""
    columns = [
        (name, column.name) for name, table in TABLES.items() for column in table.columns if column.kind == "period"
    ]
    private = {place: _private(draft[place[0]].cells[place[1]]) & draft[place[0]].kept for place in columns}
    known = {place: draft[place[0]].known(place[1]) & draft[place[0]].kept for place in columns}
    rarer = 2 * sum(each.sum() for each in private.values()) <= sum(each.sum() for each in known.values())
    for (name, column), found in private.items():
        yield Flag(
            rule="TWO_KINDS_OF_PERIOD",
            table=name,
            at=np.flatnonzero(found if rarer else known[name, column] & ~found),
            severity="stops",
            column=column,
            takes="cell",
            problem=f"is a {'private period among calendar quarters' if rarer else 'quarter among private periods'}",
            remedy="Write every period in one way: 2026Q3, or P07.",
        )


def _private(periods_of: Cells) -> np.ndarray:
    return np.array([bool(label) and label.startswith("P") for label in periods_of.values])[periods_of.which]
