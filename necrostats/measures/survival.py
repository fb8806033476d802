"""Time to what is not resolution: the first adverse event, recurrence, death or surgery; and the length of follow-up.

Recurrence counts from the day of resolution, the first event of a kind from the index drainage; in both death competes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.definitions.adverse_events import (
    AGREE,
    ANY,
    THIRTY_DAYS,
    EventWindow,
    GradingScale,
    chosen_events,
    known_types,
    of_type,
    scale_named,
    window_named,
)
from necrostats.definitions.outcomes import NEVER, end_days, last_seen_days, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.errors import ChoiceError, unknown_choice
from necrostats.measures.curves import event_free, incidence, plateau_notes
from necrostats.measures.event_follow_up import (
    NO_RECORD,
    STENT_UNKNOWN,
    Watched,
    watched,
    whole_histories,
)
from necrostats.measures.grouping import (
    BAND,
    Grouping,
    counted,
    estimate_row,
    estimate_table,
    patient_groups,
    session_groups,
    without_limits,
)
from necrostats.measures.needs import EVENTS, EVENTS_CHECKED, needing, of_resolution
from necrostats.measures.resolution import INTERVAL as INCIDENCE_INTERVAL
from necrostats.measures.resolution import NAMED_DAYS, REFERENCES
from necrostats.registry.codebook import DRAINAGES, NECROSECTOMIES
from necrostats.registry.tables import Registry
from necrostats.results import Curves, Estimates, Method, Note, Population
from necrostats.stats.incidence import follow_up as reverse_follow_up

ENDS = ("death", "surgery", "percutaneous drain")
INTERVAL = (
    "Greenwood's standard error, log-log scale; Clopper–Pearson where fewer than 30 and none censored, and "
    "where none has had it yet"
)
KAPLAN_MEIER = "Kaplan and Meier, J Am Stat Assoc 1958;53:457"


def event_free_survival(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    ends: Sequence[str] = ("death", "surgery"),
    days: Sequence[int] = NAMED_DAYS,
) -> Curves:
    """Kaplan–Meier share of patients alive and free of these ends, by day from the index drainage.

    `ends`: any of "death", "surgery" (surgical or minimally invasive necrosectomy) and "percutaneous drain".
    Resolution ends nothing: patients are followed to the first end or the last contact. A day known only as a range
    counts at its earliest.

    Counted: patients with an index drainage.
    Source: Kaplan and Meier, J Am Stat Assoc 1958;53:457.
    """
    chosen = _chosen(ends)
    groups = patient_groups(registry, by)
    first = np.min([end_days(registry, each) for each in chosen], axis=0)
    seen = last_seen_days(registry)
    happened = first < NEVER
    landmarks = tuple(sorted(set(days)))
    name = f"free of {_listed(chosen)}"
    curve = event_free(
        np.where(happened, first, seen), happened, groups, name, axis="days", landmarks=landmarks, level=level
    )
    return Curves(
        title=f"Survival {name}",
        frame=curve.table,
        medians=curve.medians,
        landmarks=landmarks,
        falling=True,
        population=_population(registry, groups),
        method=Method(
            estimand=f"probability of being {name} by a day since index drainage, resolved or not",
            estimator="Kaplan–Meier, exact ties",
            interval=INTERVAL,
            level=level,
            definition="Surgery: surgical or minimally invasive necrosectomy." if "surgery" in chosen else "",
            references=(KAPLAN_MEIER,),
        ),
        notes=curve.notes,
    )


def follow_up(registry: Registry, *, by: str | None = None, level: float = 0.95) -> Estimates:
    """Median days of follow-up by reverse Kaplan–Meier: the end of follow-up is the event, death cuts it short.

    From the index drainage to the last contact, whether resolved or not.

    Counted: patients with an index drainage.
    Source: Schemper and Smith, Control Clin Trials 1996;17:343.
    """
    groups = patient_groups(registry, by)
    died, seen = end_days(registry, "death"), last_seen_days(registry)
    known = groups.codes >= 0
    dead = died < NEVER
    middle = reverse_follow_up(
        np.where(dead, died, seen)[known],
        dead[known].astype(np.int64),
        group=groups.codes[known],
        groups=range(len(groups.labels)),
        level=level,
    )
    sizes = np.bincount(groups.codes[known], minlength=len(groups.labels))
    rows = [
        estimate_row(
            "median follow-up",
            "follow-up",
            unit="days",
            of="patients",
            n=int(sizes[place]),
            group=label,
            estimate=middle.estimate[place],
            low=middle.low[place],
            high=middle.high[place],
        )
        for place, label in enumerate(groups.labels)
    ]
    table = estimate_table(rows, groups=groups.labels)
    return Estimates(
        title="Follow-up",
        frame=table,
        population=_population(registry, groups),
        method=Method(
            estimand="median time under observation from the index drainage, had nobody died",
            estimator="reverse Kaplan–Meier",
            interval="log-log band of the curve, inverted",
            level=level,
            definition="from the index drainage to the last contact, resolved or not; deaths are censored",
            references=("Schemper and Smith, Control Clin Trials 1996;17:343",),
        ),
        notes=(*_never_half(table), *plateau_notes(middle, groups.labels), *without_limits(table, BAND)),
    )


def _never_half(table: pd.DataFrame) -> tuple[Note, ...]:
    missing = table.loc[table["estimate"].isna() & (table["n"] > 0), "group"].astype(str)
    if missing.empty:
        return ()
    text = f"The median was not reached: deaths cut follow-up short too often ({', '.join(missing)})."
    return (Note(code="NOT_REACHED", text=text),)


def _chosen(ends: Sequence[str]) -> tuple[str, ...]:
    given = (ends,) if isinstance(ends, str) else tuple(ends)
    for each in given:
        if each not in ENDS:
            raise unknown_choice("end", each, ENDS)
    if not given:
        raise ChoiceError(f"ends is empty: choose from {', '.join(ENDS)}.")
    return tuple(each for each in ENDS if each in given)


def _listed(chosen: tuple[str, ...]) -> str:
    *first, last = chosen
    return f"{', '.join(first)} and {last}" if first else last


def _population(registry: Registry, groups: Grouping) -> Population:
    return Population(
        patients=len(registry.patients) - groups.left_out, left_out={"patients without a group": groups.left_out}
    )


CAUSES = ("recurrence", "death")
RECURRENCE_DAYS = (90, 180, 365)
USUAL_SIZE_MM = 30.0


@needing("Recurrence after documented resolution", of_resolution)
def recurrence(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
    size_mm: float | None = None,
    days: Sequence[int] = RECURRENCE_DAYS,
) -> Curves:
    """Cumulative incidence of recurrence by day from resolution, death competing, among those who resolved.

    Recurrence is the first of: a scan with a collection longer than `size_mm` (the definition's size if left out, or
    30 mm where it has none), a further drainage or necrosectomy, a percutaneous drain, surgery. It counts from the
    day after resolution, at its earliest day; what may lie before resolution does not count. Censored at the last
    contact.

    Counted: patients who resolved, from that day.
    Source: Aalen and Johansen, Scand J Stat 1978;5:141; Marubini and Valsecchi, Analysing Survival Data, 1995.
    """
    size = _size(definition, size_mm)
    groups = patient_groups(registry, by)
    ends = outcomes(registry, definition)
    resolved = ends.cause == 1
    start = np.where(resolved, ends.day, NEVER)
    again, died, seen = _recurred(registry, start, size), end_days(registry, "death"), last_seen_days(registry)
    cause = np.select([(again < NEVER) & (again <= died), died < NEVER], [1, 2], 0)
    stop = np.select([cause == 1, cause == 2], [again, died], seen)
    chosen = Grouping(labels=groups.labels, codes=np.where(resolved, groups.codes, -1))
    landmarks = tuple(sorted(set(days)))
    curve = incidence(
        np.where(resolved, np.maximum(stop - start, 0), 0),
        np.where(resolved, cause, 0),
        chosen,
        CAUSES,
        axis="days",
        landmarks=landmarks,
        level=level,
    )
    return Curves(
        title="Recurrence after documented resolution",
        frame=curve.table,
        medians=curve.medians,
        landmarks=landmarks,
        population=Population(
            patients=int(np.count_nonzero(chosen.codes >= 0)),
            left_out={
                "patients not resolved": int(np.count_nonzero(~resolved)),
                "resolved patients without a group": int(np.count_nonzero(resolved & (groups.codes < 0))),
            },
        ),
        method=Method(
            estimand="probability of recurrence by a day since documented resolution, death competing",
            estimator="Aalen–Johansen, exact ties",
            interval=INCIDENCE_INTERVAL,
            level=level,
            definition=f"{definition.sentence()} Recurrence: a scan with a collection longer than {size:g} mm, a "
            "further drainage or necrosectomy, a percutaneous drain or surgery, after the day of resolution.",
            references=(*REFERENCES, *filter(None, [definition.reference])),
        ),
        notes=(*_kept(curve.notes), *_unscanned(registry, start, chosen)),
    )


def _size(definition: ResolutionDefinition, size_mm: float | None) -> float:
    size = size_mm if size_mm is not None else definition.size_mm
    size = USUAL_SIZE_MM if size is None else float(size)
    if size < 0:
        raise ChoiceError(f"size_mm is {size:g}: a longest axis in millimetres, 0 or more, is needed.")
    return size


def _recurred(registry: Registry, start: np.ndarray, size: float) -> np.ndarray:
    """The first day after resolution of anything that counts as recurrence; NEVER if none."""
    kinds = registry.sessions["session_type"].isin({*DRAINAGES, *NECROSECTOMIES}).to_numpy()
    large = (registry.scans["long_mm"] > size).fillna(False).to_numpy(dtype=bool)
    kind = registry.other_interventions["kind"].isin(
        ("surgical_necrosectomy", "minimally_invasive_necrosectomy", "percutaneous_drain")
    )
    percutaneous = (registry.stents["stent_type"] == "percutaneous").to_numpy()
    each = (
        ("sessions", "day", kinds),
        ("scans", "day", large),
        ("other_interventions", "day", kind.to_numpy()),
        ("stents", "placed_day", percutaneous),
    )
    return np.min([_first_after(registry, *one, start) for one in each], axis=0)


def _first_after(registry: Registry, table: str, column: str, kept: np.ndarray, start: np.ndarray) -> np.ndarray:
    frame = registry.tables[table]
    day = frame[column].fillna(-1).to_numpy(dtype=np.int64)
    patient = registry.position(table)
    kept = kept & (day > start[patient])
    first = np.full(start.size, NEVER)
    np.minimum.at(first, patient[kept], day[kept])
    return first


def _kept(notes: tuple[Note, ...]) -> tuple[Note, ...]:
    """Without the note that half had no recurrence: that is nothing to be wary of."""
    return tuple(note for note in notes if note.code != "NOT_REACHED")


def _unscanned(registry: Registry, start: np.ndarray, chosen: Grouping) -> tuple[Note, ...]:
    day = registry.scans["day"].fillna(-1).to_numpy(dtype=np.int64)
    patient = registry.position("scans")
    scanned = np.bincount(patient[day > start[patient]], minlength=start.size) > 0
    never = int(np.count_nonzero((chosen.codes >= 0) & ~scanned))
    if not never:
        return ()
    patients = counted(never, "resolved patient was", "resolved patients were")
    text = f"{patients} not scanned after resolution: a recurrence without symptoms or treatment would not be known."
    return (Note(code="MISSING", text=text),)


EVENT_DAYS = (30, 90, 180)
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
    days: Sequence[int] = EVENT_DAYS,
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
    ends, looked_at = _first_ends(registry, events), _looked_at(registry, seen, within)
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
            interval=INCIDENCE_INTERVAL,
            level=level,
            definition=(
                "followed from the index drainage to the first event, death or the last contact; an event on the day "
                f"of death comes first; events {span.sentence() if span else any_day}{chosen.words}"
            ),
            references=(*REFERENCES, *((scale.reference,) if grade_from else ())),
        ),
        notes=(
            *(note for note in curve.notes if note.code != "NOT_REACHED"),
            *_first_event_notes(registry, seen, events),
        ),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _FirstEnds:
    """For each patient (P,) the day followed to, and why that was the last: 0 censored, else a place in the causes."""

    day: np.ndarray
    cause: np.ndarray


def _first_ends(registry: Registry, events: np.ndarray) -> _FirstEnds:
    never = np.iinfo(np.int64).max
    first = np.full(len(registry.patients), never)
    day = registry.adverse_events["day"].to_numpy(dtype=np.int64)
    np.minimum.at(first, registry.position("adverse_events")[events], np.maximum(day[events], 0))
    death = registry.patients["death_day"].fillna(never).to_numpy(dtype=np.int64)
    last = np.minimum(last_seen_days(registry), death)
    had, died = (first < never) & (first <= death), (death < never)
    return _FirstEnds(
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


def _first_event_notes(registry: Registry, seen: Watched, events: np.ndarray) -> tuple[Note, ...]:
    ranged = int(np.count_nonzero(events & registry.adverse_events["day_latest"].notna().to_numpy()))
    unchecked = counted(seen.unchecked, "session", "sessions")
    dated = counted(ranged, "event has", "events have")
    said = {
        f"{unchecked} {NO_RECORD}: an event after one of them may be missing, so the curve may "
        "lie too low.": seen.unchecked,
        f"{dated} a day known only as a range: the earliest day counts.": ranged,
    }
    return tuple(Note(code="MISSING", text=text) for text, count in said.items() if count)
