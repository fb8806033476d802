"""The sessions of every patient: what each is for, when, and how it went (yields and events come elsewhere)."""

from __future__ import annotations

import numpy as np

from invented_unit.calendar import Calendar
from invented_unit.course import Course
from invented_unit.draws import BLANK, FAR, Draws, codes
from invented_unit.parameters import Parameters
from invented_unit.stents import StentPlan

KINDS = codes("sessions", "session_type")
DRAINAGE, NECROSECTOMY, BOTH, INSPECTION, EXCHANGE, REMOVAL, TREATMENT = range(len(KINDS))
OPERATORS = np.array(["", "operator A", "operator B", "operator C", "operator D", "operator E"], dtype=object)
DILATION = (("10", 0.2), ("12", 0.35), ("15", 0.3), ("18", 0.15))
STRENGTH = np.array([0.3, 0.5, 1.5, 3.0])

Rows = dict[str, np.ndarray]


def plan_sessions(draws: Draws, course: Course, plan: StentPlan) -> Rows:
    """Patient, day and type of every session, sorted by patient and day."""
    n = len(course)
    every = np.arange(n)
    first = np.where(course.day_0_necrosectomy, BOTH, DRAINAGE)
    who, place = np.nonzero(course.necrosectomy < FAR)
    necrosectomy = course.necrosectomy[who, place]
    after_find = course.visit[who, place] == course.late_found[who]
    kind = np.where(after_find & draws.chance(0.6, len(who)), BOTH, NECROSECTOMY)
    look = course.seen_resolved + draws.whole(12, 24, n)
    look = np.where(draws.chance(0.05, n) & (look < course.death), look, FAR)
    parts = [(every, np.zeros(n, dtype=np.int64), first), (who, necrosectomy, kind)]
    for days, purpose in (
        (look, INSPECTION),
        (plan.exchange_session, EXCHANGE),
        (plan.removal_session, REMOVAL),
        (plan.pigtail_session, REMOVAL),
        (plan.recurrence_session, DRAINAGE),
    ):
        wanted = np.flatnonzero(days < FAR)
        parts.append((wanted, days[wanted], np.full(len(wanted), purpose)))
    patient, day, kind = (np.concatenate(column) for column in zip(*parts, strict=True))
    order = np.lexsort((day, patient))
    patient, day, kind = patient[order], day[order], kind[order].astype(np.int8)
    alone = np.append(True, (patient[1:] != patient[:-1]) | (day[1:] != day[:-1]))
    return {"patient_id": patient[alone], "day": day[alone], "session_type": kind[alone]}


def choose_adjuncts(draws: Draws, sessions: Rows) -> None:
    """Add whether lavage and peroxide were used."""
    debrides = np.isin(sessions["session_type"], (NECROSECTOMY, BOTH))
    for name, share in (("lavage", 0.35), ("peroxide", 0.13)):
        sessions[name] = debrides & draws.chance(share, len(debrides))


def number_sessions(sessions: Rows, course: Course, calendar: Calendar) -> None:
    """Add the number of the necrosectomy (1, 2 …; 0 = not one), the quarter and the days to the next session."""
    who = sessions["patient_id"]
    debrides = np.isin(sessions["session_type"], (NECROSECTOMY, BOTH))
    running = np.cumsum(debrides)
    first = np.searchsorted(who, np.arange(len(course)))
    before = running[first] - debrides[first]
    sessions["number"] = np.where(debrides, running - before[who], 0)
    sessions["period"] = calendar.quarter_of(course.index_on[who] + sessions["day"]).astype(np.int8)
    same = np.append(who[1:] == who[:-1], False)
    gap = np.append(sessions["day"][1:] - sessions["day"][:-1], FAR)
    sessions["to_next"] = np.where(same, gap, FAR)


def describe_sessions(draws: Draws, sessions: Rows, solid: np.ndarray, parameters: Parameters) -> None:
    """Add operator, minutes, anaesthesia, texture, passes, adjuncts and clearance."""
    kind, n = sessions["session_type"], len(sessions["day"])
    debrides = sessions["number"] > 0
    total = np.where(debrides, draws.whole(35, 110, n), draws.whole(12, 45, n))
    share = 0.45 + 0.4 * draws.uniform(n)
    debriding = np.round(total * share).astype(np.int64)
    sessions["planned"] = draws.chance(0.93, n) & (kind != TREATMENT)
    sessions["operator"] = draws.blanked(draws.whole(1, 5, n), 0.02, 0)
    sessions["minutes_total"] = draws.blanked(total, parameters.blank_share, BLANK)
    timed = ~draws.chance(0.06, n) & (sessions["minutes_total"] != BLANK)
    sessions["minutes_debridement"] = np.where(debrides & timed, debriding, BLANK)
    sedation = (("sedation", 0.3), ("monitored", 0.35), ("general", 0.35))
    sessions["anaesthesia"] = draws.blanked(draws.pick(sedation, codes("sessions", "anaesthesia"), n), 0.02)
    sessions["carbon_dioxide"] = draws.blanked(draws.chance(0.97, n).astype(np.int8), 0.05)
    dilated = np.isin(kind, (DRAINAGE, BOTH)) & draws.chance(0.5, n) | debrides & draws.chance(0.12, n)
    names = tuple(name for name, _ in DILATION)
    widths = np.array(names, dtype=np.int64)[draws.pick(DILATION, names, n)]
    sessions["tract_dilation_mm"] = np.where(dilated, widths, BLANK)
    sessions["texture_met"] = draws.pick(parameters.texture, codes("sessions", "texture"), n)
    written = debrides & ~draws.chance(parameters.blank_share, n)
    sessions["texture"] = np.where(written, sessions["texture_met"], -1)
    passes = 3 + np.floor(draws.uniform(n) ** 2 * 38 + solid[sessions["patient_id"]] / 8).astype(np.int64)
    sessions["passes"] = np.where(debrides & ~draws.chance(0.15, n), passes, BLANK)
    _adjunct_amounts(draws, sessions)
    sessions["clearance"] = _clearance(draws, sessions, debrides)
    early = (("no", 0.945), ("desaturation", 0.013), ("access", 0.012), ("time", 0.022), ("other", 0.008))
    stopped = draws.pick(early, codes("sessions", "stopped_early"), n)
    sessions["stopped_early"] = draws.blanked(stopped, parameters.blank_share)


def _adjunct_amounts(draws: Draws, sessions: Rows) -> None:
    lavage, peroxide = sessions["lavage"], sessions["peroxide"]
    n = len(lavage)
    sessions["lavage_in_ml"] = np.where(lavage & draws.chance(0.85, n), 50 * draws.whole(4, 30, n), BLANK)
    sessions["peroxide_ml"] = np.where(peroxide, 10 * draws.whole(2, 12, n), BLANK)
    strength = STRENGTH[draws.whole(0, 3, n)]
    strength = np.where(draws.chance(0.02, n), 5.0, strength)
    sessions["peroxide_percent"] = np.where(peroxide & draws.chance(0.9, n), strength, np.nan)
    aspirated = draws.blanked(draws.chance(0.94, n).astype(np.int8), 0.08)
    sessions["stomach_aspirated"] = np.where(lavage | peroxide, aspirated, -1)


def _clearance(draws: Draws, sessions: Rows, debrides: np.ndarray) -> np.ndarray:
    n = len(debrides)
    last = debrides & (sessions["to_next"] > 40)
    usual = draws.pick((("complete", 0.07), ("partial", 0.83), ("none", 0.10)), codes("sessions", "clearance"), n)
    final = draws.pick((("complete", 0.66), ("partial", 0.32), ("none", 0.02)), codes("sessions", "clearance"), n)
    return np.where(debrides & ~draws.chance(0.05, n), np.where(last, final, usual), -1)
