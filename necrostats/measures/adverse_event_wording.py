"""What the denominator table says of its method, and its notes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from necrostats.definitions.adverse_events import EventWindow
from necrostats.definitions.grades import GradingScale
from necrostats.measures.adverse_event_choosing import ChosenEvents
from necrostats.measures.adverse_event_stents import StentTime
from necrostats.measures.adverse_event_units import (
    EVENTS_A_PATIENT,
    PATIENT_DAYS,
    PATIENTS,
    SESSIONS,
    STENT_DAYS,
    Watchful,
)
from necrostats.measures.phrases import counted
from necrostats.measures.watching import Watched
from necrostats.results import Method, Note
from necrostats.stats.rates import dispersion, is_overdispersed

FEW_PATIENTS = 20
RATES = (PATIENT_DAYS, STENT_DAYS, EVENTS_A_PATIENT)
_ESTIMANDS = {
    PATIENTS: "share of patients",
    SESSIONS: "share of sessions",
    PATIENT_DAYS: "rate per 100 patient-days",
    STENT_DAYS: "stent-related events per 100 stent-days",
    EVENTS_A_PATIENT: "events per patient",
}
_OVER = {
    PATIENTS: "patients", SESSIONS: "sessions", PATIENT_DAYS: "patient-days in the windows",
    STENT_DAYS: "stent-days", EVENTS_A_PATIENT: "patients",
}  # fmt: skip
INTERVAL_REFERENCES = {
    "Clopper–Pearson": "Clopper and Pearson, Biometrika 1934;26:404",
    "mid-P": "Lancaster, J Am Stat Assoc 1961;56:223 (mid-P)",
    "Blaker": "Blaker, Can J Stat 2000;28:783",
    "Wilson": "Wilson, J Am Stat Assoc 1927;22:209",
}
CHECKED = "sessions of any type in which somebody looked for events or recorded one"


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
    said = ["; patient-days counted from the session to the end of its window, overlaps once"] * (PATIENT_DAYS in units)
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
    seen: Watched, stents: StentTime | None, table: pd.DataFrame, events: np.ndarray, units: Sequence[str]
) -> tuple[Note, ...]:
    """What a reader of the denominator table must know."""
    none_seen = table[(table["unit"] == SESSIONS) & (table["events"] == 0) & (table["n"] > 0)]
    said = {
        "ZERO_EVENTS": len(none_seen)
        and "Where no event was recorded the upper limit is the exact one, and clustering within patients cannot be "
        "estimated.",
        "FEW_CLUSTERS": SESSIONS in units and 0 < seen.patients < FEW_PATIENTS
        and f"Only {counted(seen.patients, 'patient', 'patients')}: intervals for sessions are approximate.",
    }  # fmt: skip
    notes = (Note(code=code, text=text) for code, text in said.items() if text)
    return (*unchecked_note(seen), *notes, *_crowded(seen, stents, events, units))


def unchecked_note(seen: Watched) -> tuple[Note, ...]:
    """The note that sessions left the denominators because nobody recorded whether anybody looked."""
    total = seen.unchecked + seen.sessions + seen.no_group
    text = (
        f"{counted(seen.unchecked, 'session', 'sessions')} of {total:,} left out of every denominator: nobody recorded "
        "whether adverse events were looked for."
    )
    return (Note(code="MISSING", text=text),) if seen.unchecked else ()


def crowding_note(events: np.ndarray, exposure: np.ndarray, which: str) -> tuple[Note, ...]:
    """The note that events crowd in few patients (one row each), so that the limits of their rate are robust ones."""
    if not is_overdispersed(events, exposure):
        return ()
    text = (
        f"Events crowd in few patients (dispersion {dispersion(events, exposure).estimate:.1f}, at most "
        f"{events.max():.0f} in one): limits {which} are robust by patient where that is wider."
    )
    return (Note(code="OVERDISPERSED", text=text),)


def _crowded(seen: Watched, stents: StentTime | None, events: np.ndarray, units: Sequence[str]) -> tuple[Note, ...]:
    everybody = Watchful.of(seen, None)
    per_patient = everybody.per_patient(seen.per_session(events))
    exposures = {PATIENT_DAYS: everybody.days, EVENTS_A_PATIENT: np.ones(per_patient.size)}
    named = {PATIENT_DAYS: f"per {PATIENT_DAYS}", EVENTS_A_PATIENT: f"of {EVENTS_A_PATIENT}"}
    said = [crowding_note(per_patient, exposures[unit], named[unit]) for unit in units if unit in exposures]
    if stents is not None:
        said.append(crowding_note(stents.per_patient(events), stents.days, f"per {STENT_DAYS}"))
    return tuple(note for notes in said for note in notes)
