"""When the first adverse event of a kind comes, death competing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from necrostats.definitions.adverse_events import THIRTY_DAYS, EventWindow, window_named
from necrostats.definitions.grades import AGREE, GradingScale, scale_named
from necrostats.measures.curves import incidence
from necrostats.measures.event_follow_up import (
    ANY,
    NO_RECORD,
    STENT_UNKNOWN,
    Watched,
    chosen_events,
    known_types,
    last_contact,
    of_type,
    watched,
    whole_histories,
)
from necrostats.measures.grouping import Grouping, counted, patient_groups, session_groups
from necrostats.measures.needs import EVENTS, EVENTS_CHECKED, needing
from necrostats.measures.resolution import INTERVAL, REFERENCES
from necrostats.registry.tables import Registry
from necrostats.results import Curves, Method, Note, Population

NAMED_DAYS = (30, 90, 180)
DEATH = "death"
FIRST, DIED = 1, 2


@needing("Time to first adverse event", (EVENTS, EVENTS_CHECKED))
def time_to_first_event(
    registry: Registry,
    *,
    event_type: str | None = None,
    by: str | None = None,
    level: float = 0.95,
    window: EventWindow | str | None = None,
    grade_from: str | None = None,
    grading: GradingScale | str = AGREE,
    attribution_from: str | None = None,
    days: Sequence[int] = NAMED_DAYS,
) -> Curves:
    """Cumulative incidence of a patient's first event by day from the index drainage, death competing.

    Everybody is followed to the last contact, and any event on the way counts; with a `window` only those within it
    of a session do. `event_type` is one type (default: any); `by` is something recorded at the index drainage.
    Patients without an event and with no record that events were looked for are left out. Raises DesignError
    for a registry narrowed to a period, and for a group known only later.

    Counted: patients with an event, or in whom somebody looked for one.
    Source: Aalen and Johansen, Scand J Stat 1978;5:141; Marubini and Valsecchi, Analysing Survival Data, 1995.
    """
    whole_histories(registry, "The time to a first event")
    scale, span = scale_named(grading), None if window is None else window_named(window)
    (variable,) = known_types(event_type if event_type is None else (event_type,), (ANY,))
    groups, seen = patient_groups(registry, by), watched(registry, session_groups(registry, None), span or THIRTY_DAYS)
    within = _after_the_start(registry) if span is None else seen.watching >= 0
    of_kind = within & of_type(registry, variable)
    chosen = chosen_events(registry, scale, grade_from, attribution_from, of_kind)
    events = chosen.counts & of_kind
    ends, looked_at = _ends(registry, events), _looked_at(registry, seen, within)
    open_ended = looked_at & seen.unended
    kept = Grouping(labels=groups.labels, codes=np.where(looked_at & ~seen.unended, groups.codes, -1))
    landmarks = tuple(sorted(set(days)))
    curve = incidence(ends.day, ends.cause, kept, (variable, DEATH), axis="days", landmarks=landmarks, level=level)
    name = "first adverse event" if variable == ANY else f"first {variable.replace('_', ' ')}"
    any_day = "on any day to the last contact"
    which = f"{'' if span is None else ' ' + span.sentence()}{chosen.words}"
    return Curves(
        title=f"Time to {name}{which}",
        frame=curve.table,
        landmarks=landmarks,
        population=Population(
            patients=int(np.count_nonzero(kept.codes >= 0)),
            sessions=seen.sessions,
            left_out={
                f"patients {NO_RECORD}": int(np.count_nonzero(~looked_at)),
                STENT_UNKNOWN: int(np.count_nonzero(open_ended)),
                "patients without a group": int(np.count_nonzero(looked_at & ~open_ended & (groups.codes < 0))),
                **_not_within(seen, within, span),
                **chosen.left_out(),
            },
        ),
        method=Method(
            estimand=f"probability of a {name}{which} by a day since index drainage, death competing",
            estimator="Aalen–Johansen, exact ties",
            interval=INTERVAL,
            level=level,
            definition=(
                "followed from the index drainage to the first event, death or the last contact; an event on the day "
                f"of death comes first; events {span.sentence() if span else any_day}{chosen.words}"
            ),
            references=(*REFERENCES, *((scale.reference,) if grade_from else ())),
        ),
        notes=(*(note for note in curve.notes if note.code != "NOT_REACHED"), *_notes(registry, seen, events)),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Ends:
    """For each patient (P,) the day followed to, and why that was the last: 0 censored, else a place in the causes."""

    day: np.ndarray
    cause: np.ndarray


def _ends(registry: Registry, events: np.ndarray) -> _Ends:
    never = np.iinfo(np.int64).max
    first = np.full(len(registry.patients), never)
    day = registry.adverse_events["day"].to_numpy(dtype=np.int64)
    np.minimum.at(first, registry.position("adverse_events")[events], np.maximum(day[events], 0))
    death = registry.patients["death_day"].fillna(never).to_numpy(dtype=np.int64)
    last = np.minimum(last_contact(registry), death)
    had, died = (first < never) & (first <= death), (death < never)
    return _Ends(
        day=np.where(had, first, np.where(died, death, last)), cause=np.where(had, FIRST, np.where(died, DIED, 0))
    )


def _looked_at(registry: Registry, seen: Watched, within: np.ndarray) -> np.ndarray:
    """Patients (P,) with at least one session in which somebody looked, or an event was recorded."""
    looked_at = seen.looked_at.copy()
    looked_at[registry.position("adverse_events")[within]] = True
    return looked_at


def _after_the_start(registry: Registry) -> np.ndarray:
    """Events (E,) on or after the day of the index drainage."""
    return registry.adverse_events["day"].to_numpy(dtype=np.int64) >= 0


def _not_within(seen: Watched, within: np.ndarray, span: EventWindow | None) -> dict[str, int]:
    """The events that cannot count, by reason."""
    if span is None:
        return {"events before the index drainage": int(np.count_nonzero(~within))}
    return dict(seen.events_out)


def _notes(registry: Registry, seen: Watched, events: np.ndarray) -> tuple[Note, ...]:
    ranged = int(np.count_nonzero(events & registry.adverse_events["day_latest"].notna().to_numpy()))
    unchecked = counted(seen.unchecked, "session", "sessions")
    dated = counted(ranged, "event has", "events have")
    said = {
        f"{unchecked} {NO_RECORD}: an event after one of them may be missing, so the curve may "
        "lie too low.": seen.unchecked,
        f"{dated} a day known only as a range: the earliest day counts.": ranged,
    }
    return tuple(Note(code="MISSING", text=text) for text, count in said.items() if count)
