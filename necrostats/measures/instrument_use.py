"""Groups by what was used up to a landmark, compared from there on among those still under treatment.

Resolution and an instrument class used so far: a covariate that changes when the class is first used.

Resolution per 100 days with a stent in place, and without: the stent as something that comes and goes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.definitions.outcomes import Outcomes, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.errors import ChoiceError
from necrostats.measures.curves import incidence
from necrostats.measures.grouping import Grouping
from necrostats.measures.needs import INSTRUMENTS, STENTS, needing, resolution_and
from necrostats.measures.resolution import INTERVAL, NAMED_DAYS, REFERENCES, competing, record_notes
from necrostats.measures.resolution_contrasts import TESTED, WALD, named
from necrostats.measures.session_counts import (
    NOT_RECORDED,
    NOT_USED,
    USED,
    check_class,
    necrosectomies,
    used_by_patient,
    uses_of,
)
from necrostats.registry.tables import Registry
from necrostats.results import Comparison, Curves, Method, Note, Population, Rates
from necrostats.stats.cox import CoxFit, cox
from necrostats.stats.rates import garwood


@needing("Resolution after a landmark, by what was used up to then", resolution_and(INSTRUMENTS))
def landmark_resolution(
    registry: Registry,
    *,
    by_ever: str,
    landmark: int = 28,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
    days: Sequence[int] = NAMED_DAYS,
) -> Curves:
    """Incidence of resolution after day `landmark`, by whether a class of instrument had been used up to that day.

    Only patients still under treatment and under observation after that day count: what came before it can no longer
    depend on how long they were treated. Days stay counted from the index drainage. What is used after the landmark
    changes no group. Anderson JR, Cain KC, Gelber RD. J Clin Oncol 1983;1:710-719.

    Counted: patients still under treatment and observed after the landmark.
    Source: Anderson et al., J Clin Oncol 1983;1:710; Aalen and Johansen, Scand J Stat 1978;5:141; Marubini and
        Valsecchi, Analysing Survival Data, 1995.
    """
    landmark = _checked(landmark, definition)
    ends = outcomes(registry, definition)
    still = ends.day > landmark
    used = _used_by(registry, ends, by_ever, landmark)
    name = by_ever.replace("_", " ")
    groups = _groups(name, landmark, used, still)
    landmarks = tuple(sorted({landmark, *(day for day in days if day > landmark)}))
    curve = incidence(ends.day, ends.cause, groups, ends.causes, axis="days", landmarks=landmarks, level=level)
    return Curves(
        title=f"Resolution after day {landmark}, by whether {name} was used up to then",
        frame=curve.table,
        medians=curve.medians,
        landmarks=landmarks,
        population=Population(
            patients=int(np.count_nonzero(groups.codes >= 0)),
            left_out={
                f"patients resolved, ended or last seen by day {landmark}": int(np.count_nonzero(~still)),
                f"patients of whom it is not recorded whether {name} was used": int(
                    np.count_nonzero(still & (used == NOT_RECORDED))
                ),
            },
        ),
        method=Method(
            estimand=f"probability of documented resolution by a day since index drainage, {competing(ends.causes)} "
            f"competing, among those still under treatment after day {landmark}",
            estimator=f"Aalen–Johansen from the landmark, day {landmark}",
            interval=INTERVAL,
            level=level,
            definition=definition.sentence(),
            references=("Anderson et al., J Clin Oncol 1983;1:710", *REFERENCES, *filter(None, [definition.reference])),
        ),
        notes=(*curve.notes, _note(name, landmark), *record_notes(ends)),
    )


def _checked(landmark: int, definition: ResolutionDefinition) -> int:
    if not 0 <= landmark < definition.horizon_days:
        raise ChoiceError(f"landmark is {landmark}: give a day from 0, before day {definition.horizon_days}.")
    return int(landmark)


def _used_by(registry: Registry, ends: Outcomes, instrument_class: str, landmark: int) -> np.ndarray:
    each = necrosectomies(registry, ends)
    early = each.day <= landmark
    uses = uses_of(registry, check_class(instrument_class))[each.session[early]]
    return used_by_patient(each.patient[early], uses, len(registry.patients))


def _groups(name: str, landmark: int, used: np.ndarray, still: np.ndarray) -> Grouping:
    labels = (f"{name} by day {landmark}", f"no {name} by day {landmark}")
    codes = np.select([~still | (used == NOT_RECORDED), used == USED, used == NOT_USED], [-1, 0, 1])
    return Grouping(labels=labels, codes=codes)


def _note(name: str, landmark: int) -> Note:
    return Note(
        code="IMMORTAL_TIME",
        text=f"Groups are fixed at day {landmark}, by what was used up to then; those who resolved before it are in "
        f"neither, and some of those without {name} had it later. Instruments were chosen, not assigned.",
    )


MEASURE = "hazard ratio of resolution"
MOST_SESSIONS_APART = 4
FEW = 20


@dataclass(frozen=True, kw_only=True, eq=False)
class Stretches:
    """Stretches of courses (R,) between necrosectomies: at risk after day `entry` up to day `time`.

    `resolved`: ended by resolution. `sessions`: necrosectomies so far. `used`: whether the class had been used so far.
    `unrecorded` is the number of patients left out for a necrosectomy that does not say which instruments were used.
    """

    patient: np.ndarray
    entry: np.ndarray
    time: np.ndarray
    resolved: np.ndarray
    sessions: np.ndarray
    used: np.ndarray
    unrecorded: int


@needing("Resolution after an instrument was first used", resolution_and(INSTRUMENTS))
def resolution_after_use(
    registry: Registry,
    *,
    instrument_class: str,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
) -> Comparison:
    """Cause-specific hazard of resolution after a class was first used, against not yet used.

    A patient counts as not yet treated with the class up to its first use and as treated with it after, so nobody's
    waiting time is put down to it (no immortal time). Compared only at the same number of necrosectomies so far (0 to
    3, 4 and more), since more sessions give more occasions. A patient's stretches never overlap and one at most ends
    in resolution, so the model's own error holds; errors summed by patient hold the truth too seldom with so many
    strata (tests/simulations). Fewer than 5 resolutions: no model, and a note.
    ChoiceError for a class that the codebook does not have.

    Counted: days under treatment, after the first use of the class against before or without it.
    Source: Cox, J R Stat Soc B 1972;34:187; Andersen and Gill, Ann Stat 1982;10:1100.
    """
    chosen = check_class(instrument_class)
    ends = outcomes(registry, definition)
    rows = stretches(registry, ends, chosen)
    fit = _fit(rows, level)
    name = chosen.replace("_", " ")
    return Comparison(
        title=f"Resolution after {name} was first used, against not yet used",
        frame=_table(rows, fit, name),
        population=Population(
            patients=np.unique(rows.patient).size,
            left_out={"patients with a necrosectomy of which the instruments are not recorded": rows.unrecorded},
        ),
        method=Method(
            estimand="ratio of the daily rate of documented resolution, after the first use of the class against "
            "before or without it, at the same number of necrosectomies so far",
            estimator="Cox model of the cause-specific hazard, use so far as a time-dependent covariate, stratified "
            "by necrosectomies so far; Efron's ties",
            interval="normal limits on the log scale; each patient is resolved once at most, so ordinary errors hold",
            level=level,
            definition=definition.sentence(),
            references=("Cox, J R Stat Soc B 1972;34:187", "Andersen and Gill, Ann Stat 1982;10:1100"),
        ),
        notes=(*named(fit.notes, [name]), *_few(rows), _chosen_not_assigned(), *record_notes(ends)),
    )


def stretches(registry: Registry, ends: Outcomes, instrument_class: str) -> Stretches:
    """Every course from the index drainage, cut at each necrosectomy before its end."""
    each = necrosectomies(registry, ends)
    use = uses_of(registry, instrument_class)[each.session]
    silent = np.unique(each.patient[use == NOT_RECORDED])
    inside = each.day < ends.day[each.patient]
    everybody = np.arange(ends.day.size)
    cuts = pd.DataFrame(
        {
            "patient": np.concatenate([everybody, each.patient[inside]]),
            "entry": np.concatenate([np.zeros_like(everybody), each.day[inside]]),
            "session": np.concatenate([np.zeros_like(everybody), np.ones(inside.sum(), np.int64)]),
            "used": np.concatenate([np.zeros_like(everybody), (use[inside] == USED).astype(np.int64)]),
        }
    ).sort_values(["patient", "entry", "session"], kind="stable")
    same = cuts.groupby("patient", sort=False)
    cuts = cuts.assign(
        sessions=same["session"].cumsum(),
        used=same["used"].cummax(),
        last=~cuts["patient"].duplicated(keep="last"),
        until=same["entry"].shift(-1),
    )
    whose = cuts["patient"].to_numpy()
    time = np.where(cuts["last"], ends.day[whose], cuts["until"].fillna(0).to_numpy(dtype=np.int64))
    kept = (time > cuts["entry"].to_numpy()) & ~np.isin(whose, silent)
    resolved = cuts["last"].to_numpy() & (ends.cause[whose] == 1)
    return Stretches(
        patient=whose[kept],
        entry=cuts["entry"].to_numpy()[kept],
        time=time[kept],
        resolved=resolved[kept],
        sessions=cuts["sessions"].to_numpy()[kept],
        used=cuts["used"].to_numpy()[kept],
        unrecorded=silent.size,
    )


def _fit(rows: Stretches, level: float) -> CoxFit:
    strata = np.minimum(rows.sessions, MOST_SESSIONS_APART)
    return cox(rows.time, rows.resolved, rows.used[:, None], entry=rows.entry, strata=strata, level=level)


def _table(rows: Stretches, fit: CoxFit, name: str) -> pd.DataFrame:
    after = rows.used == 1
    endless = bool(np.isinf(fit.coefficient[0]))
    row = {
        "group": f"after {name}",
        "reference": "not yet used",
        "measure": MEASURE,
        "estimate": float(np.exp(fit.coefficient[0])),
        "low": float(np.exp(fit.low[0])),
        "high": float(np.exp(fit.high[0])),
        "statistic": fit.likelihood_ratio.statistic if endless else float(fit.statistic[0]),
        "p_value": fit.likelihood_ratio.p_value if endless else float(fit.p_value[0]),
        "unit": "patients",
        "events": int(rows.resolved[after].sum()),
        "n": np.unique(rows.patient[after]).size,
        "events_ref": int(rows.resolved[~after].sum()),
        "n_ref": np.unique(rows.patient[~after]).size,
        "test": TESTED if endless else WALD,
        "limits": "normal limits on the log scale",
    }
    return pd.DataFrame([row])


def _few(rows: Stretches) -> tuple[Note, ...]:
    patients = np.unique(rows.patient).size
    if not 0 < patients < FEW:
        return ()
    text = (
        f"Only {patients} patients, fewer than {FEW}: limits of the hazard ratio are wider than they need be, and "
        "there are none where all resolutions fall on one side."
    )
    return (Note(code="SMALL_N", text=text),)


def _chosen_not_assigned() -> Note:
    return Note(
        code="IMMORTAL_TIME",
        text="Use counts only from the day it began. The class was chosen for the case in hand, not assigned: a harder "
        "collection may be why it was used.",
    )


TRANSMURAL = ("lumen_apposing", "double_pigtail", "self_expanding_metal", "nasocystic")
STATES = ("stent in place", "no stent in place")
_SPAN = np.int64(1 << 20)
_STILL_THERE = ("in_place", "death")


@dataclass(frozen=True, kw_only=True, eq=False)
class _Days:
    """For each patient, days with a stent, days in all, and whether the last day had one.

    `none`: without a stent on record; `unknown`: those, and those with a stent whose end is not recorded.
    """

    inside: np.ndarray
    whole: np.ndarray
    last_inside: np.ndarray
    none: np.ndarray
    unknown: np.ndarray


@needing("Resolution with a stent in place, and without", resolution_and(STENTS))
def resolution_by_stent(
    registry: Registry,
    *,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
) -> Rates:
    """Documented resolutions per 100 patient-days with a transmural stent in place, and per 100 without.

    Every day from the index drainage to the end of the course counts where the patient was on it, so that nobody is
    put into a group by what came later. A stent is in place from the day after placement to the day it was removed.
    Left out: patients with no stent on record, and those with a stent of which neither the removal nor that it is
    still there is recorded.

    Counted: patient-days under treatment, with a transmural stent in place and without.
    Source: Garwood, Biometrika 1936;28:437.
    """
    ends = outcomes(registry, definition)
    days = _days(registry, ends)
    known = ~days.unknown
    resolved = known & (ends.cause == 1)
    events = (int((resolved & days.last_inside).sum()), int((resolved & ~days.last_inside).sum()))
    spent = (int(days.inside[known].sum()), int((days.whole - days.inside)[known].sum()))
    return Rates(
        title="Resolution with a stent in place, and without",
        frame=_stent_table(events, spent, level),
        population=Population(
            patients=int(known.sum()),
            left_out={
                "patients without a transmural stent on record": int(days.none.sum()),
                "patients with a stent whose removal is not recorded": int((days.unknown & ~days.none).sum()),
            },
        ),
        method=Method(
            estimand="documented resolutions per 100 patient-days under treatment with a transmural stent in place, "
            "and without",
            estimator="events over patient-days",
            interval="Garwood (exact Poisson)",
            level=level,
            definition=f"{definition.sentence()} Transmural stents: lumen-apposing, double pigtail, self-expanding "
            "metal, nasocystic.",
            references=("Garwood, Biometrika 1936;28:437", *filter(None, [definition.reference])),
        ),
        notes=(_stent_note(), *record_notes(ends)),
    )


def _days(registry: Registry, ends: Outcomes) -> _Days:
    stents = registry.stents
    kept = stents["stent_type"].isin(TRANSMURAL).to_numpy() & stents["placed_day"].notna().to_numpy()
    patient = registry.position("stents")[kept].astype(np.int64)
    placed = stents["placed_day"][kept].to_numpy(dtype=np.int64)
    end = ends.day[patient]
    reason = stents["end_reason"][kept].astype(object).isin(_STILL_THERE).to_numpy()
    out = stents["removed_day"][kept]
    removed = np.where(out.isna(), end, out.fillna(0).to_numpy(dtype=np.int64))
    begun = placed < end
    unknown = np.bincount(patient[begun & out.isna().to_numpy() & ~reason], minlength=len(registry.patients)) > 0
    none = np.bincount(patient, minlength=len(registry.patients)) == 0
    start, stop = np.minimum(placed, end), np.minimum(removed, end)
    return _Days(
        inside=_covered(patient, start, stop, len(registry.patients)),
        whole=ends.day,
        none=none,
        unknown=unknown | none,
        last_inside=np.bincount(patient[begun & (removed >= end)], minlength=len(registry.patients)) > 0,
    )


def _covered(patient: np.ndarray, start: np.ndarray, stop: np.ndarray, patients: int) -> np.ndarray:
    """Days of each patient covered by any of their stretches (start, stop]."""
    order = np.argsort(patient * _SPAN + start, kind="stable")
    whose, begin, finish = patient[order], start[order], stop[order]
    reached = np.maximum.accumulate(whose * _SPAN + finish) if whose.size else whose
    before = np.concatenate([[0], reached[:-1]])[: whose.size]
    already = np.maximum(before - whose * _SPAN, 0)
    fresh = np.maximum(finish - np.maximum(begin, already), 0)
    return np.bincount(whose, weights=fresh, minlength=patients).astype(np.int64)


def _stent_table(events: tuple[int, int], spent: tuple[int, int], level: float) -> pd.DataFrame:
    rate = garwood(np.array(events), np.array(spent), level=level, per=100.0)
    groups = Grouping(labels=STATES, codes=np.arange(2))
    return pd.DataFrame(
        {
            "variable": pd.Categorical(["documented resolution"] * 2, ordered=True),
            "group": groups.column([0, 1]),
            "unit": pd.Categorical(["100 patient-days"] * 2, ordered=True),
            "events": pd.array(events, dtype="Int64"),
            "n": pd.array(spent, dtype="Int64"),
            "per": 100.0,
            "estimate": rate.estimate,
            "low": rate.low,
            "high": rate.high,
        }
    )


def _stent_note() -> Note:
    return Note(
        code="IMMORTAL_TIME",
        text="Each day counts where the patient was on it. Stents are taken out because patients are better, or "
        "because of trouble, so a difference between days with and without one is not an effect of the stent.",
    )
