"""What truly happens to each patient: resolution, competing ends, visits, sessions, and what is seen of it.

Scans and clinic reviews fall on the same day (a visit). The visits do not depend on when a collection resolves;
whenever a visit shows that it has not, a necrosectomy follows within days. So the first thing seen after a session
always shows whether it was enough, and neither the lock nor a loss to follow-up is informative.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from invented_unit.calendar import Calendar
from invented_unit.draws import FAR, Draws, expit, logit
from invented_unit.parameters import Parameters

VISITS = 26


@dataclass(frozen=True, kw_only=True, eq=False)
class Course:
    """Days from index drainage, FAR = never. (N,) a patient, (N, VISITS) a visit, (N, 3) a late follow-up."""

    index_on: np.ndarray
    observed: np.ndarray
    censored: np.ndarray
    solid: np.ndarray
    true_day: np.ndarray
    size_day: np.ndarray
    symptom_day: np.ndarray
    death: np.ndarray
    surgery: np.ndarray
    drain: np.ndarray
    visit: np.ndarray
    seen: np.ndarray
    seen_resolved: np.ndarray
    necrosectomy: np.ndarray
    day_0_necrosectomy: np.ndarray
    follow_up: np.ndarray
    recurs: np.ndarray
    late_found: np.ndarray

    def __len__(self) -> int:
        return len(self.index_on)


def draw_course(draws: Draws, n: int, parameters: Parameters, calendar: Calendar) -> Course:
    """The courses of n patients, without censoring."""
    index_on = draws.whole(0, calendar.last, n)
    observed = calendar.last - index_on
    loss = draws.wait(1.0 / parameters.loss_per_day, n)
    solid = np.clip(5 * np.round(20 * expit(-0.4 + 0.9 * draws.normal(n))), 5, 95).astype(np.int64)
    resolves, sooner = _resolution(draws, solid, parameters)
    death, surgery, drain = _competing(draws, resolves, parameters)
    ends = np.where(surgery < FAR, surgery + 12, resolves)
    longer = draws.chance(parameters.symptoms_last_longer_share, n)
    size_day, symptom_day = np.where(longer, sooner, ends), np.where(longer, ends, sooner)
    visit, seen = _visits(draws, size_day, symptom_day, parameters)
    for end in (death, surgery, drain):
        seen &= visit != end[:, None]
    shown = np.where(seen & (visit >= ends[:, None]), visit, FAR).min(axis=1)
    seen &= (visit <= shown[:, None]) & (visit < death[:, None])
    follow_up = _follow_up(draws, shown, death, parameters)
    return Course(
        index_on=index_on,
        observed=observed,
        solid=solid,
        death=death,
        surgery=surgery,
        drain=drain,
        censored=np.where(loss <= parameters.loss_until_day, np.minimum(loss, observed), observed),
        true_day=resolves,
        size_day=np.minimum(size_day, ends),
        symptom_day=np.minimum(symptom_day, ends),
        visit=visit,
        seen=seen,
        seen_resolved=np.where(shown < death, shown, FAR),
        necrosectomy=_sessions(draws, visit, seen, shown, death, surgery, drain, parameters),
        day_0_necrosectomy=draws.chance(parameters.necrosectomy_on_day_0_share, n),
        follow_up=follow_up,
        recurs=draws.chance(parameters.recurrence_share, n) & (follow_up[:, 1] < FAR),
        late_found=_late_found(draws, visit, seen, shown, parameters),
    )


def _resolution(draws: Draws, solid: np.ndarray, parameters: Parameters) -> tuple[np.ndarray, np.ndarray]:
    n, tens = len(solid), (solid - 40) / 10
    slope = parameters.early_logit_per_10_percent_solid
    early = draws.chance(expit(logit(parameters.early_share_at_40_percent_solid) + slope * tens), n)
    median = np.where(early, parameters.early_median_days, parameters.late_median_days)
    shift = parameters.resolution_log_per_10_percent_solid * tens
    days = np.ceil(median * np.exp(shift + parameters.resolution_sd * draws.normal(n))).astype(np.int64)
    sooner = np.ceil(days * (0.55 + 0.45 * draws.uniform(n))).astype(np.int64)
    return days, sooner


def _competing(draws: Draws, resolves: np.ndarray, parameters: Parameters):
    n = len(resolves)
    death = np.where(draws.chance(parameters.death_share, n), draws.wait(parameters.death_mean_day, n), FAR)
    death = np.minimum(death, draws.wait(1.0 / parameters.death_background_per_day, n))
    surgery = 4 + draws.wait(parameters.surgery_mean_day, n)
    happens = draws.chance(parameters.surgery_share, n) & (surgery < resolves) & (surgery < death)
    surgery = np.where(happens, surgery, FAR)
    drain = 2 + draws.wait(parameters.drain_mean_day, n)
    first = np.minimum(np.minimum(resolves, death), surgery)
    drain = np.where(draws.chance(parameters.drain_share, n) & (drain < first), drain, FAR)
    return death, surgery, drain


def _visits(draws: Draws, size_day, symptom_day, parameters: Parameters) -> tuple[np.ndarray, np.ndarray]:
    n = len(size_day)
    day, hold = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=bool)
    visit, seen = np.empty((n, VISITS), dtype=np.int64), np.empty((n, VISITS), dtype=bool)
    spread = parameters.visit_gap_high - parameters.visit_gap_low + 1
    for place in range(VISITS):
        middle = (draws.uniform(n) + draws.uniform(n)) / 2
        gap = parameters.visit_gap_low + np.floor(spread * middle).astype(np.int64)
        held = draws.whole(parameters.hold_gap_low, parameters.hold_gap_high, n)
        day = day + np.where(hold, held, gap)
        visit[:, place], seen[:, place] = day, ~draws.chance(parameters.visit_missed_share, n)
        hold = seen[:, place] & (day >= size_day) & (day < symptom_day)
    return visit, seen


def _sessions(draws, visit, seen, shown, death, surgery, drain, parameters) -> np.ndarray:
    day = visit + draws.whole(1, parameters.session_lag_high, *visit.shape)
    day = day + (day == drain[:, None])
    done = seen & (visit < shown[:, None]) & (day < np.minimum(death, surgery)[:, None])
    return np.where(done, day, FAR)


def _follow_up(draws: Draws, shown, death, parameters: Parameters) -> np.ndarray:
    shape = (len(shown), len(parameters.follow_up_days))
    day = shown[:, None] + np.array(parameters.follow_up_days) + draws.whole(-8, 8, *shape)
    kept = (shown < FAR)[:, None] & (day < death[:, None]) & draws.chance(0.85, *shape)
    return np.where(kept, day, FAR)


def _late_found(draws: Draws, visit, seen, shown, parameters: Parameters) -> np.ndarray:
    rows = np.arange(len(shown))
    place = draws.whole(1, 3, len(shown))
    day = visit[rows, place]
    found = draws.chance(parameters.late_collection_share, len(shown)) & seen[rows, place] & (day < shown)
    return np.where(found, day, FAR)
