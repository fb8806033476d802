"""One chunk of patients: everything that truly happens, and the part of it that a registry would hold."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from invented_unit.adverse_events import TREATMENTS, draw_events, stop_sessions_early, with_treatments
from invented_unit.calendar import Calendar
from invented_unit.course import Course, draw_course
from invented_unit.debridement import choose_instruments, draw_yields, instrument_uses, write_yields
from invented_unit.draws import BLANK, FAR, Draws
from invented_unit.imaging import draw_imaging, treated_collections
from invented_unit.parameters import Parameters
from invented_unit.patients import draw_patients, other_interventions
from invented_unit.sessions import Rows, choose_adjuncts, describe_sessions, number_sessions, plan_sessions
from invented_unit.stents import plan_stents, recorded_ends

CHUNK = 50_000


@dataclass(frozen=True, kw_only=True, eq=False)
class Lives:
    """A chunk without censoring: the course of each patient and the nine tables, ids as row numbers."""

    course: Course
    tables: dict[str, Rows]


def seeds_for(patients: int, seed: int) -> list[tuple[int, np.random.SeedSequence]]:
    """The size and the seed of each chunk."""
    sizes = [min(CHUNK, patients - start) for start in range(0, patients, CHUNK)]
    return list(zip(sizes, np.random.SeedSequence(seed).spawn(len(sizes)), strict=True))


def live(n: int, seed: np.random.SeedSequence, parameters: Parameters, calendar: Calendar) -> Lives:
    """Draw n patients and everything that happens to them."""
    draws = Draws(seed)
    course = draw_course(draws, n, parameters, calendar)
    plan = plan_stents(draws, course, parameters)
    sessions = plan_sessions(draws, course, plan)
    choose_adjuncts(draws, sessions)
    number_sessions(sessions, course, calendar)
    events = draw_events(draws, sessions, course, plan, parameters, calendar)
    sessions, events = with_treatments(sessions, events)
    number_sessions(sessions, course, calendar)
    describe_sessions(draws, sessions, course.solid, parameters)
    choose_instruments(draws, sessions, course, parameters, calendar)
    draw_yields(draws, sessions, course, parameters)
    write_yields(draws, sessions, parameters)
    stop_sessions_early(sessions, events)
    imaging = draw_imaging(draws, course, parameters)
    treated_collections(draws, sessions, imaging.collections)
    _look_for_events(draws, sessions, events, parameters)
    drained = np.searchsorted(imaging.collections["patient_id"], plan.stents["patient_id"])
    patients = draw_patients(draws, course, plan.disconnected, events, parameters)
    patients["index_period"] = calendar.quarter_of(course.index_on)
    tables = {
        "patients": patients,
        "collections": imaging.collections,
        "sessions": sessions,
        "instrument_uses": instrument_uses(draws, sessions),
        "stents": {**plan.stents, "collection_id": drained},
        "scans": imaging.scans,
        "reviews": imaging.reviews,
        "adverse_events": events,
        "other_interventions": other_interventions(draws, course, events),
    }
    return Lives(course=course, tables=tables)


def _look_for_events(draws: Draws, sessions: Rows, events: Rows, parameters: Parameters) -> None:
    """Nobody looked after some sessions, whatever happened: their events are never written down."""
    n = len(sessions["day"])
    unseen = draws.chance(parameters.not_checked_share, n)
    unseen[events["session_id"][events["fatal"]]] = False
    sessions["events_checked"] = np.where(unseen, np.where(draws.chance(0.6, n), 0, -1), 1)
    events["written_down"] = ~unseen[events["session_id"]]
    later = events["day"] > sessions["day"][events["session_id"]]
    plain = (events["stent_id"] < 0) & ~(later & (events["treatment"] == TREATMENTS.index("endoscopic")))
    events["session_blank"] = draws.chance(0.05, len(plain)) & plain


def record(lives: Lives) -> dict[str, Rows]:
    """What the registry holds at the data lock: nothing after the last contact, no event nobody looked for."""
    course, tables = lives.course, lives.tables
    known = {name: _until_contact(rows, course) for name, rows in tables.items() if name != "patients"}
    known["collections"] = tables["collections"]["detected_day"] <= course.censored[tables["collections"]["patient_id"]]
    known["instrument_uses"] = known["sessions"][tables["instrument_uses"]["session_id"]]
    events = tables["adverse_events"]
    alive = course.death[events["patient_id"]] > course.censored[events["patient_id"]]
    known["adverse_events"] &= events["written_down"] & ~(events["fatal"] & alive)
    place = {name: np.append(np.where(keep, np.cumsum(keep) - 1, -1), -1) for name, keep in known.items()}
    kept = {name: {column: values[known[name]] for column, values in tables[name].items()} for name in known}
    for name, column, parent in (
        ("collections", "communicates_with", "collections"),
        ("sessions", "collection_id", "collections"),
        ("sessions", "also_treated", "collections"),
        ("instrument_uses", "session_id", "sessions"),
        ("stents", "collection_id", "collections"),
        ("scans", "collection_id", "collections"),
        ("adverse_events", "session_id", "sessions"),
        ("adverse_events", "stent_id", "stents"),
    ):
        kept[name][column] = place[parent][kept[name][column]]
    events = kept["adverse_events"]
    events["session_id"] = np.where(events["session_blank"], -1, events["session_id"])
    kept["stents"] = recorded_ends(kept["stents"], course)
    return {"patients": _known_of_patients(course, tables["patients"]), **kept}


def _until_contact(rows: Rows, course: Course) -> np.ndarray:
    if "patient_id" not in rows:
        return np.zeros(0, dtype=bool)
    day = rows["placed_day"] if "placed_day" in rows else rows.get("day", np.zeros(len(rows["patient_id"])))
    return day <= course.censored[rows["patient_id"]]


def _known_of_patients(course: Course, rows: Rows) -> Rows:
    dead = course.death <= course.censored
    return {
        **rows,
        "patient_id": np.arange(len(course)),
        "observed_days": course.observed,
        "last_contact_day": np.where(dead, course.death, course.censored),
        "vital_status": dead.astype(np.int8),
        "death_day": np.where(dead & (course.death < FAR), course.death, BLANK),
        "death_cause": np.where(dead, rows["death_cause"], -1),
    }
