"""How often sessions are followed by adverse events, over every denominator.

One set of adverse events over each denominator.

What the denominator table says of its method, and its notes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from necrostats.definitions.adverse_events import (
    AGREE,
    ANY,
    EVENT_TYPES,
    THIRTY_DAYS,
    ChosenEvents,
    EventWindow,
    GradingScale,
    chosen_events,
    known_types,
    of_type,
    of_types,
    scale_named,
    window_named,
)
from necrostats.errors import DesignError, unknown_choice
from necrostats.measures.event_follow_up import NO_RECORD, StentTime, Watched, stent_time, watched, whole_histories
from necrostats.measures.grouping import OF_THE_SESSION, counted, patient_groups, session_groups
from necrostats.measures.needs import needing, of_events
from necrostats.registry.tables import Registry
from necrostats.results import Method, Note, Population, Rates
from necrostats.stats.intervals import Interval
from necrostats.stats.proportions import blaker, clopper_pearson, korn_graubard, mid_p, wilson
from necrostats.stats.rates import clustered_rate, dispersion, garwood, is_overdispersed

PATIENTS, SESSIONS, PATIENT_DAYS = "patients", "sessions", "100 patient-days"
STENT_DAYS, EVENTS_A_PATIENT = "100 stent-days", "events per patient"
DENOMINATORS = (PATIENTS, SESSIONS, PATIENT_DAYS)
UNITS = (*DENOMINATORS, STENT_DAYS, EVENTS_A_PATIENT)
INTERVALS: Mapping[str, Callable[..., Interval]] = {
    "Clopper–Pearson": clopper_pearson,
    "mid-P": mid_p,
    "Blaker": blaker,
    "Wilson": wilson,
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Watchful:
    """One group's sessions that count: which they are (S,), whose (place among G patients), and the days of each."""

    here: np.ndarray
    patient: np.ndarray
    days: np.ndarray

    @classmethod
    def of(cls, seen: Watched, group: int | None) -> Watchful:
        """The sessions of one group, or of all."""
        here = np.ones(seen.sessions, dtype=bool) if group is None else seen.group == group
        labels, patient = np.unique(seen.patient[here], return_inverse=True)
        return cls(
            here=here, patient=patient, days=np.bincount(patient, weights=seen.days[here], minlength=labels.size)
        )

    def per_patient(self, per_session: np.ndarray) -> np.ndarray:
        """Counts by session (s,) summed by patient (G,)."""
        return np.bincount(self.patient, weights=per_session, minlength=self.days.size)


@dataclass(frozen=True, kw_only=True, eq=False)
class StentGroup:
    """The stent-days of one group's patients: all of them, and which patients (P,) are its own with a stent."""

    time: StentTime
    own: np.ndarray

    def counts(self, events: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Stent-related events among those marked True (E,), and stent-days, of each of these patients."""
        return self.time.per_patient(events)[self.own], self.time.days[self.own]


@dataclass(frozen=True, kw_only=True)
class Crowding:
    """How far the events of a rate with robust limits crowd: Pearson dispersion, and the most in one patient."""

    dispersion: float
    most: int


def rates_of(
    seen: Watched,
    group: Watchful,
    stents: StentGroup | None,
    events: np.ndarray,
    units: Sequence[str],
    interval: str,
    level: float,
) -> Iterator[dict]:
    """The rows of one variable in one group, one for each unit; `events` (E,) marks those that count.

    A row whose limits are robust ones has its `crowding` too.
    """
    per_session = seen.per_session(events)[group.here]
    per_patient = group.per_patient(seen.per_watched(events)[group.here])
    estimators: dict[str, Callable[[], dict]] = {
        PATIENTS: lambda: _share(per_patient > 0, interval, level),
        SESSIONS: lambda: _clustered_share(per_session > 0, group.patient, level),
        PATIENT_DAYS: lambda: _rate(per_patient, group.days, 100, level),
        STENT_DAYS: lambda: _rate(*stents.counts(events), 100, level),
        EVENTS_A_PATIENT: lambda: _rate(per_patient, np.ones(per_patient.size), 1, level),
    }
    for unit in UNITS:
        if unit in units:
            yield {"unit": unit, **estimators[unit]()}


def known_units(units: str | Sequence[str]) -> tuple[str, ...]:
    """The units in their order; ChoiceError for one that is not on the list."""
    asked = (units,) if isinstance(units, str) else tuple(units)
    for unit in asked:
        if unit not in UNITS:
            raise unknown_choice("unit of an adverse event rate", unit, UNITS)
    return tuple(unit for unit in UNITS if unit in asked)


def known_interval(interval: str) -> str:
    """The interval by its name; ChoiceError for one that is not on the list."""
    name = interval.replace("-", "–") if interval.startswith("Clopper") else interval
    if name not in INTERVALS:
        raise unknown_choice("interval for a share of patients", interval, INTERVALS)
    return name


def _share(affected: np.ndarray, interval: str, level: float) -> dict:
    events, n = int(affected.sum()), affected.size
    return _numbers(events, n, 1, INTERVALS[interval](events, n, level=level))


def _clustered_share(affected: np.ndarray, patient: np.ndarray, level: float) -> dict:
    if affected.size == 0:
        return _numbers(0, 0, 1, clopper_pearson(0, 0, level=level))
    found = korn_graubard(affected.astype(np.int64), np.ones(affected.size, np.int64), patient, level=level)
    return _numbers(int(affected.sum()), affected.size, 1, found)


def _rate(events: np.ndarray, exposure: np.ndarray, per: int, level: float) -> dict:
    """Garwood's limits; where events crowd, robust ones, which are never taken inside Garwood's."""
    total, time = int(events.sum()), int(exposure.sum())
    exact = garwood(total, time, level=level, per=float(per))
    if not is_overdispersed(events, exposure):
        return _numbers(total, time, per, exact)
    crowded = Crowding(dispersion=dispersion(events, exposure).estimate, most=int(events.max()))
    robust = clustered_rate(events, exposure, level=level, per=per)
    low, high = np.fmin(robust.low, exact.low), np.fmax(robust.high, exact.high)
    return _numbers(total, time, per, replace(robust, low=low, high=high)) | {"crowding": crowded}


def _numbers(events: int, n: int, per: int, interval: Interval) -> dict:
    return {
        "events": events,
        "n": n,
        "per": per,
        "estimate": interval.estimate,
        "low": interval.low,
        "high": interval.high,
    }


FEW_PATIENTS = 20
_SHORT = (
    f" With {FEW_PATIENTS} patients or fewer such limits can fall short: in simulations of strong crowding 95 % limits "
    "covered 92 %."
)
RATES = (PATIENT_DAYS, STENT_DAYS, EVENTS_A_PATIENT)
SHARES = (PATIENTS, SESSIONS, EVENTS_A_PATIENT)
_ESTIMANDS = {
    PATIENTS: "share of patients",
    SESSIONS: "share of sessions",
    PATIENT_DAYS: "rate over patient-days",
    STENT_DAYS: "stent-related events per 100 stent-days",
    EVENTS_A_PATIENT: "events per patient",
}
_OVER = {
    PATIENTS: "patients",
    SESSIONS: "sessions",
    PATIENT_DAYS: "patient-days in the windows",
    STENT_DAYS: "stent-days",
    EVENTS_A_PATIENT: "patients",
}
INTERVAL_REFERENCES = {
    "Clopper–Pearson": "Clopper and Pearson, Biometrika 1934;26:404",
    "mid-P": "Lancaster, J Am Stat Assoc 1961;56:223 (mid-P)",
    "Blaker": "Blaker, Can J Stat 2000;28:783",
    "Wilson": "Wilson, J Am Stat Assoc 1927;22:209",
}
CHECKED = "sessions of any type in which somebody looked for events or recorded one in the window"


def denominator_method(
    window: EventWindow, scale: GradingScale, chosen: ChosenEvents, units: Sequence[str], interval: str, level: float
) -> Method:
    """The method of the denominator table, for the units it shows."""
    over = list(dict.fromkeys(_OVER[unit] for unit in units))
    return Method(
        estimand=f"adverse events {window.sentence()}{chosen.words}: {', '.join(_ESTIMANDS[unit] for unit in units)}",
        estimator=f"events over {_listed([f'over {name}' for name in over]).removeprefix('over ')}",
        interval="; ".join(_intervals(units, interval)),
        level=level,
        definition=f"window: {window.sentence()}; {CHECKED}{''.join(_exposures(units))}{chosen.words}",
        references=(*_references(units, interval), *((scale.reference,) if scale.name in chosen.words else ())),
    )


def _intervals(units: Sequence[str], interval: str) -> list[str]:
    rates = [_OVER[unit].split(" ")[0] if unit != EVENTS_A_PATIENT else unit for unit in units if unit in RATES]
    said = [f"patients: {interval}"] * (PATIENTS in units)
    said += ["sessions: Korn–Graubard, clustered by patient"] * (SESSIONS in units)
    robust = f"{', '.join(rates)}: Garwood; where events crowd in few patients robust by patient, if that is wider"
    return said + [robust] * bool(rates)


def _exposures(units: Sequence[str]) -> list[str]:
    said = [
        "; patient-days counted from the session to the end of its window, to the patient's next session or to the "
        "last day seen"
    ] * (PATIENT_DAYS in units)
    stents = (
        "; stent-days: from the day a stent went in to the day it came out, or to last contact while it is in, each "
        "stent for itself; stent-related events: those put down to a stent and stent migration, occlusion and buried "
        "stents, on any of these days whatever the window"
    )
    return said + [stents] * (STENT_DAYS in units)


def _references(units: Sequence[str], interval: str) -> list[str]:
    said = [INTERVAL_REFERENCES[interval]] * (PATIENTS in units)
    said += ["Korn and Graubard, Survey Methodology 1998;24:193"] * (SESSIONS in units)
    return said + ["Garwood, Biometrika 1936;28:437"] * any(unit in RATES for unit in units)


def _listed(items: list[str]) -> str:
    *first, last = items
    return f"{', '.join(first)}{', ' if len(first) > 1 else ' ' if first else ''}{'and ' if first else ''}{last}"


def rate_notes(
    seen: Watched,
    rows: Sequence[dict],
    sides: Sequence[Watchful],
    labels: Sequence[str],
    units: Sequence[str],
    events: np.ndarray | None = None,
) -> tuple[Note, ...]:
    """What a reader of the denominator table must know; `sides` and `labels` belong to its groups."""
    none_seen = any(row["unit"] == SESSIONS and row["events"] == 0 and row["n"] > 0 for row in rows)
    said = {
        "ZERO_EVENTS": none_seen
        and "Where no event was recorded the upper limit is the exact one, and clustering within patients cannot be "
        "estimated.",
        "FEW_CLUSTERS": SESSIONS in units and _few_patients(sides, labels),
    }
    notes = (Note(code=code, text=text) for code, text in said.items() if text)
    few = min((side.days.size for side in sides if side.days.size), default=0) <= FEW_PATIENTS
    return (*watching_notes(seen, units, events), *notes, *_crowded(rows, units, few=few))


def watching_notes(
    seen: Watched, units: Sequence[str] = (PATIENTS, SESSIONS), events: np.ndarray | None = None
) -> tuple[Note, ...]:
    """How far the sessions were watched: left out, in only because of an event, not to the end, days uncertain.

    With the `events` (E,) that count, their share among the sessions watched to the end too.
    """
    total = seen.unchecked + seen.sessions + seen.no_group + seen.no_end
    ranged = seen.ranged_inside + seen.ranged_after
    beyond = seen.elsewhere * any(unit in (PATIENTS, PATIENT_DAYS, EVENTS_A_PATIENT) for unit in units)
    only, short = seen.by_event_only, seen.unfinished * any(unit in SHARES for unit in units)
    said = {
        f"{counted(seen.unchecked, 'session', 'sessions')} of {total:,} left out of every denominator: "
        f"{NO_RECORD.removeprefix('with ')}.": ("MISSING", seen.unchecked),
        f"{counted(only, 'session counts', 'sessions count')} only because an event is recorded for "
        f"{'it' if only == 1 else 'them'}, {NO_RECORD}: that makes figures higher.": ("MISSING", only),
        f"{short:,} of {counted(seen.sessions, 'session', 'sessions')} {'has' if short == 1 else 'have'} been "
        "watched for less than the window; "
        f"{'it counts' if short == 1 else 'they count'} as without an event so far.{_fully_watched(seen, events)}": (
            "NOT_MATURED",
            short,
        ),
        f"{counted(beyond, 'event lies', 'events lie')} outside the window of the session named, but within another's "
        "of the same patient: counted for the patient and the patient-days, and for no session.": ("MISSING", beyond),
        f"{counted(ranged, 'event is', 'events are')} dated only to a range and placed by the earliest day: "
        f"{seen.ranged_inside:,} inside the window, {seen.ranged_after:,} after it.": ("MISSING", ranged),
    }
    return tuple(Note(code=code, text=text) for text, (code, count) in said.items() if count)


def _fully_watched(seen: Watched, events: np.ndarray | None) -> str:
    """The share among the sessions watched for the whole window, where events (E,) that count are known."""
    n = int(seen.fully.sum())
    if events is None or not n:
        return ""
    affected = int(np.count_nonzero(seen.fully & (seen.per_session(events) > 0)))
    return f" Of the {n:,} watched to the end {affected:,} {'was' if affected == 1 else 'were'} followed by an event."


def _few_patients(sides: Sequence[Watchful], labels: Sequence[str]) -> str:
    """The caution about the smallest group with anybody in it; "" where it is large enough."""
    sizes = {label: side.days.size for label, side in zip(labels, sides, strict=True) if side.days.size}
    if not sizes or min(sizes.values()) >= FEW_PATIENTS:
        return ""
    smallest = min(sizes, key=sizes.__getitem__)
    where = f" in the smallest group ({smallest})" if len(sizes) > 1 else ""
    return f"Only {counted(sizes[smallest], 'patient', 'patients')}{where}: intervals for sessions are approximate."


def _crowded(rows: Sequence[dict], units: Sequence[str], *, few: bool) -> tuple[Note, ...]:
    """For each unit with robust limits in any of its rows, how far events crowd."""
    return tuple(
        Note(
            code="OVERDISPERSED",
            text=_crowding_text(unit, crowding, sum(row["unit"] == unit for row in rows)) + (_SHORT if few else ""),
        )
        for unit in units
        if (crowding := [row["crowding"] for row in rows if row["unit"] == unit and "crowding" in row])
    )


def _crowding_text(unit: str, crowding: Sequence[Crowding], rates: int) -> str:
    several = f" in {len(crowding):,} of {rates:,} rates" if rates > 1 else ""
    dispersion, most = max(each.dispersion for each in crowding), max(each.most for each in crowding)
    upto = "up to " if len(crowding) > 1 else ""
    return (
        f"Events crowd in few patients{several} (dispersion {upto}{dispersion:.1f}, at most {most} in one): limits "
        f"{'of' if unit == EVENTS_A_PATIENT else 'per'} {unit} are robust by patient where that is wider."
    )


@needing("Adverse events", of_events)
def adverse_event_rates(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    event_type: str | Sequence[str] | None = None,
    window: EventWindow | str = THIRTY_DAYS,
    grade_from: str | None = None,
    grading: GradingScale | str = AGREE,
    attribution_from: str | None = None,
    units: Sequence[str] = DENOMINATORS,
    interval: str = "Clopper–Pearson",
) -> Rates:
    """The denominator table: patients, sessions and patient-days, for any event and for each type.

    A session counts when somebody looked for events (`events_checked`) or an event in its window is recorded; the
    others leave every denominator and are counted. Patient-days run from each such session to the end of its window,
    to the next session of the patient, or to the last day the patient was seen. `event_type` keeps one type (or
    several), or "any adverse event"; `grade_from` keeps that grade of `grading` (or "serious") and the graver ones,
    `attribution_from` that attribution and the firmer ones (events without are counted as left out); `window` is a
    window or its name; `by` is a column of the patient at the start or of the session. `units` may add "events per
    patient" and "100 stent-days": stent-related events on the days on which a stent was in, whatever the window.
    `interval` is that of patients: "Clopper–Pearson", "mid-P", "Blaker" or "Wilson". Raises DesignError for stent-days
    by something of the session, or from a registry narrowed to a period, which holds that period's events beside all
    stents.

    Counted: patients with an event over patients watched; sessions followed by one over sessions watched; events per
        100 patient-days watched.
    Source: Clopper and Pearson, Biometrika 1934;26:404; Korn and Graubard, Survey Methodology 1998;24:193; Garwood,
        Biometrika 1936;28:437.
    """
    window, scale = window_named(window), scale_named(grading)
    variables, units = known_types(event_type, (ANY, *EVENT_TYPES)), known_units(units)
    interval = known_interval(interval)
    groups = session_groups(registry, by)
    seen = watched(registry, groups, window)
    stents, of_stents = stent_groups(registry, seen, by, units, len(groups.labels))
    counted = seen.watching >= 0 if stents is None else (seen.watching >= 0) | stents.events
    of_kind = counted & of_types(registry, variables)
    chosen = chosen_events(registry, scale, grade_from, attribution_from, of_kind)
    sides = [Watchful.of(seen, place) for place in range(len(groups.labels))]
    rows = [
        {"variable": variable, "group": place, **row}
        for variable in variables
        for place, side in enumerate(sides)
        for row in rates_of(
            seen, side, of_stents[place], chosen.counts & of_type(registry, variable), units, interval, level
        )
    ]
    table = pd.DataFrame(rows, columns=list(Rates.columns))
    table["variable"] = pd.Categorical(table["variable"], categories=list(variables), ordered=True)
    table["group"] = groups.column(table["group"].to_numpy(dtype=np.int64))
    table["unit"] = pd.Categorical(table["unit"], categories=list(units), ordered=True)
    return Rates(
        title=f"Adverse events {window.sentence()}{chosen.words}",
        frame=table,
        population=_population(seen, stents, chosen),
        method=denominator_method(window, scale, chosen, units, interval, level),
        notes=rate_notes(seen, rows, sides, groups.labels, units, chosen.counts & of_types(registry, variables)),
    )


def stent_groups(
    registry: Registry, seen: Watched, by: str | None, units: Sequence[str], groups: int
) -> tuple[StentTime | None, list[StentGroup | None]]:
    """Stent-days, and those of each group, where they were asked for."""
    if STENT_DAYS not in units:
        return None, [None] * groups
    whole_histories(registry, "Events per 100 stent-days")
    if by in OF_THE_SESSION:
        raise DesignError(
            f'Stent-days cannot be split by "{by}": a stent stays in over many sessions. Group by something of the '
            f'patient, or leave "{STENT_DAYS}" out of the units.'
        )
    time, codes = stent_time(registry, seen.looked_at), patient_groups(registry, by).codes
    return time, [StentGroup(time=time, own=(codes == place) & (time.days > 0)) for place in range(groups)]


def _population(seen: Watched, stents: StentTime | None, chosen: ChosenEvents) -> Population:
    left_out = {**seen.left_out(), **(stents.left_out() if stents else {}), **chosen.left_out()}
    return Population(patients=seen.patients, sessions=seen.sessions, left_out=left_out)
