"""Adverse events of sessions and stents, their grades and treatment, and the deaths a procedure caused.

Deaths are drawn before any event, and a fatal event is put down to some of them: so events never change who dies.
"""

from __future__ import annotations

import numpy as np

from invented_unit.calendar import Calendar
from invented_unit.course import Course
from invented_unit.draws import BLANK, FAR, Draws, codes, expit, logit
from invented_unit.parameters import Parameters
from invented_unit.sessions import BOTH, DRAINAGE, NECROSECTOMY, TREATMENT, Rows
from invented_unit.stents import REASONS, StentPlan

TYPES = codes("adverse_events", "event_type")
PHASES = codes("adverse_events", "phase")
AGREE = codes("adverse_events", "agree_grade")
ASGE = codes("adverse_events", "asge_severity")
CLAVIEN = codes("adverse_events", "clavien_grade")
TREATMENTS = codes("adverse_events", "treatment")
BLEEDING = TYPES.index("bleeding")
FATAL = (("sepsis", 0.5), ("perforation", 0.2), ("cardiorespiratory", 0.25), ("gas_embolism", 0.05))
STENT_EVENT = {
    "migrated": "stent_migration",
    "occluded": "stent_occlusion",
    "buried": "stent_buried",
    "bleeding": "pseudoaneurysm",
}
DURING = {
    "bleeding": 0.5,
    "perforation": 0.8,
    "pneumoperitoneum": 0.7,
    "gas_embolism": 1.0,
    "maldeployment": 1.0,
    "aspiration": 0.5,
    "cardiorespiratory": 0.7,
    "sedation": 1.0,
    "peroxide": 0.9,
}
USUAL = (("none", 0.15), ("drug", 0.70), ("endoscopic", 0.10), ("organ_support", 0.05))
TREATED = {
    "bleeding": (("none", 0.15), ("drug", 0.10), ("transfusion", 0.25), ("endoscopic", 0.33), ("radiological", 0.17)),
    "pseudoaneurysm": (("radiological", 0.9), ("transfusion", 0.1)),
    "perforation": (("drug", 0.3), ("endoscopic", 0.5), ("surgical", 0.2)),
    "stent_migration": (("endoscopic", 0.8), ("none", 0.2)),
    "stent_occlusion": (("endoscopic", 1.0),),
    "stent_buried": (("endoscopic", 1.0),),
    "maldeployment": (("endoscopic", 0.85), ("surgical", 0.15)),
    "sepsis": (("drug", 0.6), ("organ_support", 0.4)),
    "obstruction": (("endoscopic", 0.6), ("drug", 0.4)),
}


def bleeding_chance(draws: Draws, sessions: Rows, course: Course, parameters: Parameters, calendar: Calendar):
    """The chance of bleeding of each session: logit-normal over patients, raised in one quarter."""
    scope = np.isin(sessions["session_type"], (DRAINAGE, NECROSECTOMY, BOTH))
    base = np.where(scope, logit(parameters.bleeding_debriding), logit(parameters.bleeding_other_scope))
    patient = parameters.bleeding_sd * draws.normal(len(course))
    raised = sessions["period"] == calendar.labels.index(parameters.bleeding_raised_period)
    return expit(base + patient[sessions["patient_id"]] + raised * np.log(parameters.bleeding_odds_ratio))


def draw_events(
    draws: Draws, sessions: Rows, course: Course, plan: StentPlan, parameters: Parameters, calendar: Calendar
) -> Rows:
    """Every event, graded, sorted by patient and day; `session_id` and `stent_id` are row numbers."""
    n = len(sessions["day"])
    scope = np.isin(sessions["session_type"], (DRAINAGE, NECROSECTOMY, BOTH))
    bleeds = draws.chance(bleeding_chance(draws, sessions, course, parameters, calendar), n)
    others = draws.chance(np.where(scope, parameters.other_event_debriding, parameters.other_event_other_scope), n)
    kinds = draws.pick(parameters.other_event_types, TYPES, n)
    slips = draws.chance(parameters.maldeployment, n) & np.isin(sessions["session_type"], (DRAINAGE, BOTH))
    burns = draws.chance(parameters.peroxide_event, n) & sessions["peroxide"]
    parts = [
        _of_sessions(draws, np.flatnonzero(bleeds), np.full(n, BLEEDING), sessions, course),
        _of_sessions(draws, np.flatnonzero(others), kinds, sessions, course),
        _of_sessions(draws, np.flatnonzero(slips), np.full(n, TYPES.index("maldeployment")), sessions, course),
        _of_sessions(draws, np.flatnonzero(burns), np.full(n, TYPES.index("peroxide")), sessions, course),
        _of_stents(plan, sessions),
        _fatal(draws, sessions, course, parameters),
    ]
    whole = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    order = np.lexsort((whole["session_id"], whole["day"], whole["patient_id"]))
    events = {name: values[order] for name, values in whole.items()}
    _grade(draws, events)
    return events


def _of_sessions(draws: Draws, rows: np.ndarray, kinds: np.ndarray, sessions: Rows, course: Course) -> Rows:
    n, kind = len(rows), kinds[rows].astype(np.int64)
    chance = np.array([DURING.get(name, 0.0) for name in TYPES])[kind]
    during = draws.chance(chance, n)
    delay = np.minimum(draws.wait(4.0, n), 20)
    room = np.minimum(sessions["to_next"][rows] - 1, course.death[sessions["patient_id"][rows]] - sessions["day"][rows])
    delay = np.where(during, 0, np.minimum(delay, room))
    phase = np.where(during, PHASES.index("during"), PHASES.index("after"))
    return _rows(sessions["patient_id"][rows], rows, sessions["day"][rows] + delay, kind, phase)


def _rows(who, session, day, kind, phase, *, stent=None, fatal=False) -> Rows:
    n = len(who)
    return {
        "patient_id": who,
        "session_id": session,
        "stent_id": np.full(n, -1) if stent is None else stent,
        "day": day,
        "event_type": kind,
        "phase": phase,
        "fatal": np.full(n, fatal),
    }


def _of_stents(plan: StentPlan, sessions: Rows) -> Rows:
    """Trouble with the main stent, put down to the session that placed it, found on the day it was taken out."""
    who = np.flatnonzero(plan.trouble >= 0)
    index_session = np.searchsorted(sessions["patient_id"], who)
    main = np.searchsorted(plan.stents["patient_id"], who)
    names = [STENT_EVENT.get(reason, "other") for reason in REASONS]
    kind = np.array([TYPES.index(name) for name in names])[plan.trouble[who]]
    phase = np.full(len(who), PHASES.index("after"))
    return _rows(who, index_session, plan.trouble_day[who], kind, phase, stent=main)


def _fatal(draws: Draws, sessions: Rows, course: Course, parameters: Parameters) -> Rows:
    n = len(course)
    chosen = draws.chance(parameters.fatal_event_share_of_deaths, n) & (course.death < FAR)
    who = np.flatnonzero(chosen)
    key = sessions["patient_id"] * np.int64(4 * FAR) + sessions["day"]
    last = np.searchsorted(key, who * np.int64(4 * FAR) + course.death[who], side="right") - 1
    soon = course.death[who] - sessions["day"][last] <= 20
    who, last = who[soon], last[soon]
    day = np.maximum(course.death[who] - draws.whole(0, 3, len(who)), sessions["day"][last])
    kind = draws.pick(FATAL, TYPES, len(who)).astype(np.int64)
    return _rows(who, last, day, kind, np.full(len(who), PHASES.index("after")), fatal=True)


def _grade(draws: Draws, events: Rows) -> None:
    n = len(events["day"])
    treated = np.empty(n, dtype=np.int64)
    for place, name in enumerate(TYPES):
        mine = np.flatnonzero(events["event_type"] == place)
        treated[mine] = draws.pick(TREATED.get(name, USUAL), TREATMENTS, len(mine))
    treated = np.where(events["fatal"], TREATMENTS.index("organ_support"), treated)
    agree = np.array([AGREE.index(name) for name in ("I", "II", "II", "IIIa", "IIIa", "IIIb", "IVa")])[treated]
    organ = treated == TREATMENTS.index("organ_support")
    agree = np.where(organ & draws.chance(0.25, n), AGREE.index("IVb"), agree)
    agree = np.where(events["fatal"], AGREE.index("V"), agree)
    stepped = np.isin(agree, (AGREE.index("IIIa"), AGREE.index("IIIb")))
    asleep = np.where(draws.chance(0.4, n), CLAVIEN.index("IIIb"), CLAVIEN.index("IIIa"))
    asleep = np.where(agree == AGREE.index("IIIb"), CLAVIEN.index("IIIb"), asleep)
    usual = np.array([ASGE.index(x) for x in ("mild", "mild", "moderate", "severe", "severe", "severe", "fatal")])
    worse = draws.chance(0.3, n) & np.isin(agree, (AGREE.index("II"), AGREE.index("IIIa")))
    nights = np.array([0, 1, 3, 7, 10, 14, 2])[agree]
    blank = ~events["fatal"] & draws.chance(0.04, n)
    events["agree_grade"] = np.where(blank, -1, agree)
    events["asge_severity"] = np.where(~events["fatal"] & draws.chance(0.05, n), -1, usual[agree] + worse)
    events["clavien_grade"] = np.where(draws.chance(0.12, n), -1, np.where(stepped, asleep, agree))
    mix = (("definite", 0.45), ("probable", 0.33), ("possible", 0.17), ("unlikely", 0.05))
    events["attribution"] = draws.blanked(draws.pick(mix, codes("adverse_events", "attribution"), n), 0.03)
    events["treatment"] = np.where(~events["fatal"] & draws.chance(0.02, n), -1, treated)
    stay = nights + np.floor(draws.uniform(n) * (nights + 1)).astype(np.int64)
    events["extra_nights"] = draws.blanked(stay, 0.05, BLANK)
    intensive = np.where(agree >= AGREE.index("IVa"), 1 + draws.whole(0, 5, n), 0)
    events["icu_nights"] = np.where(events["extra_nights"] == BLANK, BLANK, np.minimum(intensive, stay))


def treated_later(sessions: Rows, events: Rows) -> np.ndarray:
    """The events that need a session of their own for endoscopic treatment: one a patient and day."""
    endoscopic = events["treatment"] == TREATMENTS.index("endoscopic")
    later = (events["day"] > sessions["day"][events["session_id"]]) & (events["stent_id"] < 0) & ~events["fatal"]
    rows = np.flatnonzero(endoscopic & later)
    key = events["patient_id"][rows] * np.int64(4 * FAR) + events["day"][rows]
    return rows[np.unique(key, return_index=True)[1]]


def with_treatments(sessions: Rows, events: Rows) -> tuple[Rows, Rows]:
    """The plan of sessions with those that treat events, and the events pointing at their rows in it."""
    rows = treated_later(sessions, events)
    merged = {
        name: np.concatenate([sessions[name], values])
        for name, values in {
            "patient_id": events["patient_id"][rows],
            "day": events["day"][rows],
            "session_type": np.full(len(rows), TREATMENT, dtype=np.int8),
            "lavage": np.zeros(len(rows), dtype=bool),
            "peroxide": np.zeros(len(rows), dtype=bool),
        }.items()
    }
    order = np.lexsort((merged["day"], merged["patient_id"]))
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    planned = {name: values[order] for name, values in merged.items()}
    return planned, {**events, "session_id": place[events["session_id"]]}


def stop_sessions_early(sessions: Rows, events: Rows) -> None:
    """Bleeding and perforation met during a session are why it was stopped, more often than not."""
    reasons = codes("sessions", "stopped_early")
    during = events["phase"] == PHASES.index("during")
    for name in ("bleeding", "perforation"):
        mine = during & (events["event_type"] == TYPES.index(name)) & (events["treatment"] > 0)
        sessions["stopped_early"][events["session_id"][mine]] = reasons.index(name)
