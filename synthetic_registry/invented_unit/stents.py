"""Stents: when each is placed, when and why it ends, and which sessions of their own they need."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from invented_unit.course import Course
from invented_unit.draws import BLANK, FAR, Draws, code, codes
from invented_unit.parameters import Parameters

TYPES = codes("stents", "stent_type")
REASONS = codes("stents", "end_reason")
LAMS = TYPES.index("lumen_apposing")
PIGTAIL = TYPES.index("double_pigtail")
METAL = TYPES.index("self_expanding_metal")
WINDOW = (19, 28)


@dataclass(frozen=True, kw_only=True, eq=False)
class StentPlan:
    """Days of the sessions that stents need (FAR = none), and the stents themselves, one array a column."""

    disconnected: np.ndarray
    exchange_session: np.ndarray
    removal_session: np.ndarray
    pigtail_session: np.ndarray
    recurrence_session: np.ndarray
    trouble: np.ndarray
    trouble_day: np.ndarray
    stents: dict[str, np.ndarray]


def plan_stents(draws: Draws, course: Course, parameters: Parameters) -> StentPlan:
    """The stents of every patient, sorted by patient; `slot` 0 is the main stent."""
    n = len(course)
    main = draws.pick(parameters.main_stent, TYPES, n)
    disconnected = draws.chance(0.38, n)
    exchange, removal, own_session = _main_ends(draws, course, main, parameters)
    trouble = draws.pick(parameters.stent_trouble, REASONS, n)
    trouble = np.where((exchange < FAR) & (main == LAMS), trouble, -1)
    pigtails_out = np.where(disconnected, FAR, course.seen_resolved + draws.whole(62, 85, n))
    pigtails_out = np.where(pigtails_out < course.death, pigtails_out, FAR)
    pigtails_in = np.where(exchange < FAR, exchange, np.where(disconnected & (main != PIGTAIL), removal, FAR))
    has_pigtails = (main == PIGTAIL) | (pigtails_in < FAR)
    recurrence = np.where(course.recurs, course.follow_up[:, 1] + draws.whole(2, 6, n), FAR)
    recurrence = np.where(recurrence < course.death, recurrence, FAR)
    parts = _main_stents(draws, course, main, exchange, removal, pigtails_out, trouble)
    parts += _other_stents(draws, course, main, removal, pigtails_in, pigtails_out, recurrence)
    return StentPlan(
        disconnected=disconnected,
        exchange_session=np.where(own_session, exchange, FAR),
        removal_session=removal,
        pigtail_session=np.where(has_pigtails, pigtails_out, FAR),
        recurrence_session=recurrence,
        trouble=np.where(trouble == REASONS.index("exchanged"), -1, trouble),
        trouble_day=exchange,
        stents=_ended(_joined(parts), course),
    )


def _main_ends(draws: Draws, course: Course, main, parameters: Parameters):
    """Exchange day, removal day and whether the exchange is a session of its own, for metal main stents."""
    n = len(course)
    low, high = WINDOW
    stop = np.minimum(course.surgery, course.death)
    inside = (course.necrosectomy >= low) & (course.necrosectomy <= high)
    with_session = np.where(inside, course.necrosectomy, FAR).min(axis=1)
    alone = draws.whole(24, high, n)
    overdue = draws.chance(parameters.overdue_share, n) & (main == LAMS)
    late = draws.whole(32, 60, n)
    for _ in range(3):
        late = late + (course.necrosectomy == late[:, None]).any(axis=1)
    gone = course.seen_resolved + draws.whole(1, 9, n)
    limit = np.where(main == METAL, FAR, high)
    early = (course.seen_resolved < limit) & (main != PIGTAIL) & ~overdue
    removal = np.where(early, np.minimum(gone, limit), FAR)
    exchange = np.where((main == LAMS) & ~early & ~overdue, np.where(with_session < FAR, with_session, alone), FAR)
    own = (exchange < FAR) & (with_session == FAR)
    settled = overdue & (course.seen_resolved < late)
    removal = np.where(settled, late, removal)
    exchange = np.where(overdue & ~settled, late, exchange)
    own |= overdue & ~settled
    removal = np.where(removal < stop, removal, FAR)
    exchange = np.where(exchange < stop, exchange, FAR)
    return exchange, removal, own & (exchange < FAR)


def _part(who, slot, kind, placed, removed, reason, *, diameter=None, caliber=None, coaxial=0):
    n = len(who)
    fill = {"diameter_mm": diameter, "caliber_fr": caliber}
    sizes = {name: np.full(n, np.nan) if size is None else size.astype(float) for name, size in fill.items()}
    return {
        "patient_id": who,
        "slot": np.full(n, slot),
        "stent_type": np.full(n, kind) if np.isscalar(kind) else kind,
        **sizes,
        "coaxial": np.full(n, coaxial, dtype=np.int8),
        "placed_day": placed,
        "removed_day": removed,
        "end_reason": np.full(n, reason) if np.isscalar(reason) else reason,
    }


def _main_stents(draws: Draws, course: Course, main, exchange, removal, pigtails_out, trouble):
    n = len(course)
    out = np.minimum(np.minimum(exchange, removal), course.surgery)
    out = np.where(main == PIGTAIL, np.minimum(pigtails_out, course.surgery), out)
    exchanged = np.where(trouble >= 0, trouble, REASONS.index("exchanged"))
    reason = np.where(exchange == out, exchanged, REASONS.index("planned"))
    fr = np.where(draws.chance(0.6, n), 7, 10).astype(float)
    mm = np.where(main == METAL, draws.whole(7, 9, n) * 2, np.array([10, 15, 20])[draws.whole(0, 2, n)])
    first = _part(np.arange(n), 0, main, np.zeros(n, dtype=np.int64), out, reason, diameter=mm, caliber=fr)
    first["diameter_mm"] = np.where(main == PIGTAIL, np.nan, first["diameter_mm"])
    first["caliber_fr"] = np.where(main == PIGTAIL, first["caliber_fr"], np.nan)
    twin = np.flatnonzero(main == PIGTAIL)
    slipped = draws.chance(0.06, len(twin)) & (out[twin] < FAR)
    reasons = np.where(slipped, REASONS.index("migrated"), reason[twin])
    second = _part(twin, 1, PIGTAIL, np.zeros(len(twin), dtype=np.int64), out[twin], reasons, caliber=fr[twin])
    through = np.flatnonzero((main != PIGTAIL) & draws.chance(0.25, n))
    nothing = np.zeros(len(through), dtype=np.int64)
    coaxial = _part(through, 1, PIGTAIL, nothing, out[through], reason[through], caliber=fr[through], coaxial=1)
    coaxial["end_reason"] = np.where(trouble[through] >= 0, REASONS.index("exchanged"), coaxial["end_reason"])
    return [first, second, coaxial]


def _other_stents(draws: Draws, course: Course, main, removal, pigtails_in, pigtails_out, recurrence):
    n = len(course)
    planned = REASONS.index("planned")
    later = np.flatnonzero(pigtails_in < FAR)
    parts = []
    for slot in (2, 3):
        fr = np.where(draws.chance(0.6, len(later)), 7, 10)
        out = np.minimum(pigtails_out, course.surgery)[later]
        out = np.where(out > pigtails_in[later], out, FAR)
        parts.append(_part(later, slot, PIGTAIL, pigtails_in[later], out, planned, caliber=fr))
        later = later[draws.chance(0.4, len(later))]
    nasal = np.flatnonzero(draws.chance(0.06, n))
    zero = np.zeros(len(nasal), dtype=np.int64)
    fr = np.where(draws.chance(0.5, len(nasal)), 7, 10)
    out = draws.whole(2, 8, len(nasal))
    parts.append(_part(nasal, 4, TYPES.index("nasocystic"), zero, out, planned, caliber=fr))
    drained = np.flatnonzero(course.drain < FAR)
    placed = course.drain[drained]
    fr = 2 * draws.whole(5, 8, len(drained))
    out = placed + draws.whole(10, 45, len(drained))
    parts.append(_part(drained, 5, TYPES.index("percutaneous"), placed, out, planned, caliber=fr))
    again = np.flatnonzero(recurrence < FAR)
    fr = np.full(len(again), 10)
    parts.append(_part(again, 6, PIGTAIL, recurrence[again], np.full(len(again), FAR), planned, caliber=fr))
    return parts


def _joined(parts: list[dict[str, np.ndarray]]) -> dict[str, np.ndarray]:
    whole = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    order = np.lexsort((whole["slot"], whole["placed_day"], whole["patient_id"]))
    return {name: values[order] for name, values in whole.items()}


def _ended(stents: dict[str, np.ndarray], course: Course) -> dict[str, np.ndarray]:
    """Drop what would be placed after death; end at death what was still in place."""
    death = course.death[stents["patient_id"]]
    stents = {name: values[stents["placed_day"] < death] for name, values in stents.items()}
    death = course.death[stents["patient_id"]]
    died = (stents["removed_day"] >= death) & (death < FAR)
    stents["end_reason"] = np.where(died, REASONS.index("death"), stents["end_reason"])
    stents["removed_day"] = np.where(died, BLANK, stents["removed_day"])
    stents["death_day"] = death
    return stents


def recorded_ends(stents: dict[str, np.ndarray], course: Course) -> dict[str, np.ndarray]:
    """The ends as known at the last contact: still in place at the lock, unknown after a loss."""
    who = stents["patient_id"]
    last = course.censored[who]
    end = np.where(stents["removed_day"] == BLANK, stents["death_day"], stents["removed_day"])
    open_ended = end > last
    lost = course.censored[who] < course.observed[who]
    reason = np.where(lost, -1, code("stents", "end_reason", "in_place"))
    return {
        **stents,
        "removed_day": np.where(open_ended, BLANK, stents["removed_day"]),
        "end_reason": np.where(open_ended, reason, stents["end_reason"]),
    }
