"""Resolution per 100 days with a stent in place, and without: the stent as something that comes and goes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.definitions.outcomes import Outcomes, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.grouping import Grouping
from necrostats.measures.resolution import record_notes
from necrostats.registry.tables import Registry
from necrostats.results import Method, Note, Population, Rates
from necrostats.stats.rates import garwood

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
    """
    ends = outcomes(registry, definition)
    days = _days(registry, ends)
    known = ~days.unknown
    resolved = known & (ends.cause == 1)
    events = (int((resolved & days.last_inside).sum()), int((resolved & ~days.last_inside).sum()))
    spent = (int(days.inside[known].sum()), int((days.whole - days.inside)[known].sum()))
    return Rates(
        title="Resolution with a stent in place, and without",
        table=_table(events, spent, level),
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
        notes=(_note(), *record_notes(ends)),
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
        inside=_covered(patient, start, stop, len(registry.patients)), whole=ends.day, none=none,
        unknown=unknown | none,
        last_inside=np.bincount(patient[begun & (removed >= end)], minlength=len(registry.patients)) > 0,
    )  # fmt: skip


def _covered(patient: np.ndarray, start: np.ndarray, stop: np.ndarray, patients: int) -> np.ndarray:
    """Days of each patient covered by any of their stretches (start, stop]."""
    order = np.argsort(patient * _SPAN + start, kind="stable")
    whose, begin, finish = patient[order], start[order], stop[order]
    reached = np.maximum.accumulate(whose * _SPAN + finish) if whose.size else whose
    before = np.concatenate([[0], reached[:-1]])[: whose.size]
    already = np.maximum(before - whose * _SPAN, 0)
    fresh = np.maximum(finish - np.maximum(begin, already), 0)
    return np.bincount(whose, weights=fresh, minlength=patients).astype(np.int64)


def _table(events: tuple[int, int], spent: tuple[int, int], level: float) -> pd.DataFrame:
    rate = garwood(np.array(events), np.array(spent), level=level, per=100.0)
    groups = Grouping(labels=STATES, codes=np.arange(2))
    return pd.DataFrame(
        {
            "variable": pd.Categorical(["documented resolution"] * 2, ordered=True),
            "group": groups.column([0, 1]), "unit": pd.Categorical(["100 patient-days"] * 2, ordered=True),
            "events": pd.array(events, dtype="Int64"), "n": pd.array(spent, dtype="Int64"), "per": 100.0,
            "estimate": rate.estimate, "conf_low": rate.low, "conf_high": rate.high,
        }
    )  # fmt: skip


def _note() -> Note:
    return Note(
        code="IMMORTAL_TIME",
        text="Each day counts where the patient was on it. Stents are taken out because patients are better, or "
        "because of trouble, so a difference between days with and without one is not an effect of the stent.",
    )
