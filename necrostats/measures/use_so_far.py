"""Resolution and an instrument class used so far: a covariate that changes when the class is first used."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.definitions.outcomes import Outcomes, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.necrosectomies import NOT_RECORDED, USED, check_class, necrosectomies, uses_of
from necrostats.measures.resolution import record_notes
from necrostats.measures.resolution_contrasts import TESTED, WALD, named
from necrostats.registry.tables import Registry
from necrostats.results import Comparison, Method, Note, Population
from necrostats.stats.cox import CoxFit, cox

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
    """
    chosen = check_class(instrument_class)
    ends = outcomes(registry, definition)
    rows = stretches(registry, ends, chosen)
    fit = _fit(rows, level)
    name = chosen.replace("_", " ")
    return Comparison(
        title=f"Resolution after {name} was first used, against not yet used",
        table=_table(rows, fit, name),
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
        sessions=same["session"].cumsum(), used=same["used"].cummax(),
        last=~cuts["patient"].duplicated(keep="last"), until=same["entry"].shift(-1),
    )  # fmt: skip
    whose = cuts["patient"].to_numpy()
    time = np.where(cuts["last"], ends.day[whose], cuts["until"].fillna(0).to_numpy(dtype=np.int64))
    kept = (time > cuts["entry"].to_numpy()) & ~np.isin(whose, silent)
    resolved = cuts["last"].to_numpy() & (ends.cause[whose] == 1)
    return Stretches(
        patient=whose[kept], entry=cuts["entry"].to_numpy()[kept], time=time[kept], resolved=resolved[kept],
        sessions=cuts["sessions"].to_numpy()[kept], used=cuts["used"].to_numpy()[kept], unrecorded=silent.size,
    )  # fmt: skip


def _fit(rows: Stretches, level: float) -> CoxFit:
    strata = np.minimum(rows.sessions, MOST_SESSIONS_APART)
    return cox(rows.time, rows.resolved, rows.used[:, None], entry=rows.entry, strata=strata, level=level)


def _table(rows: Stretches, fit: CoxFit, name: str) -> pd.DataFrame:
    after = rows.used == 1
    endless = bool(np.isinf(fit.coefficient[0]))
    row = {
        "group": f"after {name}", "reference": "not yet used", "measure": MEASURE,
        "estimate": float(np.exp(fit.coefficient[0])), "conf_low": float(np.exp(fit.low[0])),
        "conf_high": float(np.exp(fit.high[0])),
        "statistic": fit.likelihood_ratio.statistic if endless else float(fit.statistic[0]),
        "p_value": fit.likelihood_ratio.p_value if endless else float(fit.p_value[0]),
        "unit": "patients", "events": int(rows.resolved[after].sum()), "n": np.unique(rows.patient[after]).size,
        "events_ref": int(rows.resolved[~after].sum()), "n_ref": np.unique(rows.patient[~after]).size,
        "test": TESTED if endless else WALD, "limits": "normal limits on the log scale",
    }  # fmt: skip
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
