"""What a unit looks at every quarter, counted: events and denominator of each indicator in each quarter."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd

from necrostats.definitions.adverse_events import AGREE
from necrostats.definitions.indicators import LATE_ENOUGH, Indicator
from necrostats.definitions.outcomes import SURGERY, end_days, first_days, last_seen_days, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION
from necrostats.measures.adverse_events import adverse_event_rates
from necrostats.measures.event_follow_up import on_a_stent_day, stent_days
from necrostats.measures.instrument_use import TRANSMURAL
from necrostats.measures.needs import (
    EVENTS,
    EVENTS_CHECKED,
    INTERVENTIONS,
    REVIEWS,
    SCAN_DAYS,
    SCANS,
    STENTS,
    YIELDS,
    Need,
)
from necrostats.registry.codebook import NECROSECTOMIES
from necrostats.registry.tables import Registry

ANY = "any adverse event"
LONGEST_IN = 28
MANY_SESSIONS = 3
CARBON_DIOXIDE = Need(
    table="sessions",
    columns=("carbon_dioxide",),
    lacking="The gas used for insufflation is not recorded.",
    remedy="Add the column carbon_dioxide to sessions.",
)
ONSETS = Need(
    table="patients",
    columns=("onset_day",),
    lacking="The onset of the pancreatitis is not recorded.",
    remedy="Add the column onset_day to patients.",
)
TREATMENTS = Need(
    table="adverse_events",
    columns=("treatment",),
    lacking="How adverse events were treated is not recorded.",
    remedy="Add the column treatment to adverse_events.",
    of_rows=True,
)
NIGHTS = Need(
    table="adverse_events",
    columns=("extra_nights",),
    lacking="Extra nights in hospital are not recorded.",
    remedy="Add the column extra_nights to adverse_events.",
    of_rows=True,
)
ICU_NIGHTS = Need(
    table="adverse_events",
    columns=("icu_nights",),
    lacking="Nights in intensive care are not recorded.",
    remedy="Add the column icu_nights to adverse_events.",
    of_rows=True,
)
GRADES = Need(
    table="adverse_events",
    columns=(AGREE.column,),
    lacking="No adverse event has an AGREE grade.",
    remedy="Fill in the column agree_grade of adverse_events.",
    of_rows=True,
)
REMOVALS = Need(
    table="stents",
    columns=("removed_day", "end_reason"),
    lacking="It is not recorded when a stent came out, nor that it is still in.",
    remedy="Fill in removed_day and end_reason of stents.",
)
_EVENTS = (EVENTS, EVENTS_CHECKED)
_NEEDS = {
    "late drainage": (ONSETS,),
    "drainage worked": (STENTS,),
    "bleeding that needed treatment": (*_EVENTS, TREATMENTS),
    "serious events": (*_EVENTS, GRADES),
    "serious events of patients": (*_EVENTS, GRADES),
    "bleeding over stent-days": (*_EVENTS, TREATMENTS, STENTS, REMOVALS),
    "extra nights": (*_EVENTS, NIGHTS),
    "intensive care nights": (*_EVENTS, ICU_NIGHTS),
    "more than three sessions": (SCANS, REVIEWS, INTERVENTIONS),
    "scan after drainage": (SCAN_DAYS,),
    "outcome known": (SCANS, REVIEWS, INTERVENTIONS),
    "resolved within 180 days": (SCANS, REVIEWS, INTERVENTIONS),
    "surgery": (INTERVENTIONS,),
    "stents out within 28 days": (STENTS, REMOVALS),
    "carbon dioxide": (CARBON_DIOXIDE,),
    "events looked for": (EVENTS_CHECKED,),
    "yield recorded": (YIELDS,),
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Counted:
    """Events and denominator of one indicator in each quarter of the registry (q,)."""

    events: np.ndarray
    n: np.ndarray


def needed(indicator: Indicator) -> tuple[Need, ...]:
    """What an indicator needs to be recorded."""
    return _NEEDS.get(indicator.name, _EVENTS if indicator.event_types else ())


def counted(registry: Registry, indicator: Indicator) -> Counted:
    """An indicator, counted by quarter. What it needs must be recorded."""
    if indicator.event_types:
        return _EVENT_COUNTS.get(indicator.of, _by_session)(registry, indicator)
    return _COUNTS[indicator.name](registry, indicator)


def judged_quarter(registry: Registry, indicator: Indicator, quarter: str) -> str:
    """The quarter of which an indicator can speak in a review of `quarter`: the last one that has matured, if it must.

    A quarter has matured when the day lies before the data lock for every patient drained in it; where none has, it is
    `quarter` itself.
    """
    if not indicator.matured_at:
        return quarter
    drained, ripe = registry.patients["index_period"], _matured(registry, indicator.matured_at)
    open_still = set(drained[~ripe].dropna())
    ended, known = set(drained[ripe].dropna()) - open_still, list(registry.periods)
    done = [each for each in known[: known.index(quarter) + 1] if each in ended] if quarter in known else []
    return done[-1] if done else quarter


def kept_events(registry: Registry, indicator: Indicator) -> np.ndarray:
    """Adverse events (E,) that can count for the indicator: treated as it asks, with a night where it counts them."""
    events = registry.adverse_events
    if indicator.treated_as:
        return events["treatment"].isin(indicator.treated_as).to_numpy(dtype=bool)
    if indicator.name in _NIGHTS:
        return (events[_NIGHTS[indicator.name]] > 0).fillna(False).to_numpy(dtype=bool)
    return np.ones(len(events), dtype=bool)


def _counting(registry: Registry, indicator: Indicator) -> Registry:
    """The registry with the events that count for the indicator only: of its kinds, treated so, with a night."""
    kept = kept_events(registry, indicator)
    if ANY not in indicator.event_types:
        kept &= registry.adverse_events["event_type"].isin(indicator.event_types).to_numpy(dtype=bool)
    return registry.keeping_events(kept)


def _by_patient(registry: Registry, indicator: Indicator) -> Counted:
    """Patients treated in a quarter, one quarter after the other: a patient may be treated in several.

    The denominator is that of any event, so that a session in which somebody wrote one down is watched for all.
    """
    counting = _counting(registry, indicator)
    narrowed = [(counting.during(quarter), registry.during(quarter)) for quarter in registry.periods]
    rates = partial(adverse_event_rates, units=("patients",), event_type=ANY)
    events = [rates(own, grade_from=indicator.grade_from).frame["events"].iloc[0] for own, _ in narrowed]
    n = [rates(every).frame["n"].iloc[0] for _, every in narrowed]
    return Counted(events=np.array(events, dtype=np.int64), n=np.array(n, dtype=np.int64))


def _by_stent_days(registry: Registry, indicator: Indicator) -> Counted:
    """Days with a transmural stent in, each stent for itself, and the events on them; by quarter of the drainage."""
    registry = _counting(registry, indicator)
    stents, (end, known) = registry.stents, stent_days(registry)
    kept = known & stents["stent_type"].isin(TRANSMURAL).to_numpy()
    fell = on_a_stent_day(registry, np.ones(len(registry.adverse_events), dtype=bool), kept)
    drained = registry.patients["index_period"].cat.codes.to_numpy()
    quarter, owner = len(registry.periods), registry.position("stents")[kept]
    days = np.maximum(end - stents["placed_day"].to_numpy(dtype=np.int64), 1)[kept]
    in_quarter = drained[owner] >= 0
    happened = drained[registry.position("adverse_events")[fell]]
    return Counted(
        events=np.bincount(happened[happened >= 0], minlength=quarter),
        n=np.bincount(drained[owner][in_quarter], weights=days[in_quarter], minlength=quarter).astype(np.int64),
    )


def _by_session(registry: Registry, indicator: Indicator) -> Counted:
    """Sessions followed by one of the events, each once; the denominator is that of any event."""
    rates = partial(adverse_event_rates, by="period", event_type=ANY, units=("sessions",))
    tables = (
        rates(_counting(registry, indicator), grade_from=indicator.grade_from).frame,
        rates(registry).frame,
    )
    events, n = (
        table.set_index(table["group"].astype(str))[name].reindex(list(registry.periods), fill_value=0)
        for table, name in zip(tables, ("events", "n"), strict=True)
    )
    return Counted(events=events.to_numpy(dtype=np.int64), n=n.to_numpy(dtype=np.int64))


def _tallied(quarter: pd.Series, happened: np.ndarray, of: np.ndarray) -> Counted:
    """Counts by the quarter of each row; rows without one are nowhere."""
    place, quarters = quarter.cat.codes.to_numpy(), len(quarter.cat.categories)
    held = of & (place >= 0)
    return Counted(
        events=np.bincount(place[held & happened], minlength=quarters),
        n=np.bincount(place[held], minlength=quarters),
    )


def _matured(registry: Registry, day: int) -> np.ndarray:
    return (registry.patients["observed_days"] >= day).fillna(False).to_numpy(dtype=bool)


def _died(registry: Registry, indicator: Indicator) -> Counted:
    died = end_days(registry, "death") <= indicator.matured_at
    return _tallied(registry.patients["index_period"], died, _matured(registry, indicator.matured_at))


def _resolved(registry: Registry, indicator: Indicator) -> Counted:
    ends = outcomes(registry, DOCUMENTED_RESOLUTION)
    known = (ends.cause > 0) | ends.at_horizon
    return _tallied(
        registry.patients["index_period"], ends.cause == 1, known & _matured(registry, indicator.matured_at)
    )


def _operated(registry: Registry, indicator: Indicator) -> Counted:
    kind = registry.other_interventions["kind"].isin(SURGERY).to_numpy()
    happened = first_days(registry, "other_interventions", kind) <= indicator.matured_at
    return _tallied(registry.patients["index_period"], happened, _matured(registry, indicator.matured_at))


def _stents_out(registry: Registry, indicator: Indicator) -> Counted:
    stents, patient = registry.stents, registry.position("stents")
    out = (stents["removed_day"] - stents["placed_day"]).to_numpy(dtype=float, na_value=np.nan)
    seen = registry.patients["last_contact_day"].to_numpy(dtype=float, na_value=np.nan)[patient]
    in_place = (stents["end_reason"] == "in_place").fillna(False).to_numpy(dtype=bool)
    overdue = in_place & (seen - stents["placed_day"].to_numpy(dtype=float, na_value=np.nan) > LONGEST_IN)
    quarter = registry.patients["index_period"].iloc[patient].reset_index(drop=True)
    apposing = (stents["stent_type"] == "lumen_apposing").to_numpy()
    return _tallied(quarter, out <= LONGEST_IN, apposing & (~np.isnan(out) | overdue))


def _drained_late(registry: Registry, indicator: Indicator) -> Counted:
    onset = registry.patients["onset_day"]
    late = (onset <= -LATE_ENOUGH).fillna(False).to_numpy(dtype=bool)
    return _tallied(registry.patients["index_period"], late, onset.notna().to_numpy())


def _drained_well(registry: Registry, indicator: Indicator) -> Counted:
    stents, events = registry.stents, registry.adverse_events
    placed = stents["stent_type"].isin(TRANSMURAL).to_numpy() & (stents["placed_day"] == 0).fillna(False).to_numpy(bool)
    failed = (events["event_type"] == "maldeployment").to_numpy() & (events["day"] == 0).fillna(False).to_numpy(bool)
    worked = _patients_with(registry, "stents", placed) & ~_patients_with(registry, "adverse_events", failed)
    return _tallied(registry.patients["index_period"], worked, np.ones(worked.size, dtype=bool))


def _patients_with(registry: Registry, table: str, rows: np.ndarray) -> np.ndarray:
    """Which patients have one of the rows marked True."""
    found = np.zeros(len(registry.patients), dtype=bool)
    found[registry.position(table)[rows]] = True
    return found


def _needed_many(registry: Registry, indicator: Indicator) -> Counted:
    ends, sessions = outcomes(registry, DOCUMENTED_RESOLUTION), registry.sessions
    patient, cut = registry.position("sessions"), sessions["session_type"].isin(NECROSECTOMIES).to_numpy()
    before = cut & (sessions["day"].to_numpy(dtype=float, na_value=np.nan) <= ends.day[patient])
    many = np.bincount(patient[before], minlength=len(registry.patients)) > MANY_SESSIONS
    resolved = (ends.cause == 1) & _matured(registry, indicator.matured_at)
    return _tallied(registry.patients["index_period"], many, resolved)


def _scanned(registry: Registry, indicator: Indicator) -> Counted:
    day = registry.scans["day"]
    soon = ((day > 0) & (day <= indicator.matured_at)).fillna(False).to_numpy(dtype=bool)
    scanned = _patients_with(registry, "scans", soon)
    return _tallied(registry.patients["index_period"], scanned, _matured(registry, indicator.matured_at))


def _outcome_known(registry: Registry, indicator: Indicator) -> Counted:
    ends = outcomes(registry, DOCUMENTED_RESOLUTION)
    by_then = (ends.cause > 0) & (ends.day <= indicator.matured_at)
    known = by_then | (last_seen_days(registry) >= indicator.matured_at)
    return _tallied(registry.patients["index_period"], known, _matured(registry, indicator.matured_at))


def _gas(registry: Registry, indicator: Indicator) -> Counted:
    gas = registry.sessions["carbon_dioxide"]
    return _tallied(registry.sessions["period"], gas.fillna(False).to_numpy(dtype=bool), gas.notna().to_numpy())


def _looked_for(registry: Registry, indicator: Indicator) -> Counted:
    looked = registry.sessions["events_checked"].fillna(False).to_numpy(dtype=bool)
    return _tallied(registry.sessions["period"], looked, np.ones(looked.size, dtype=bool))


def _with_yield(registry: Registry, indicator: Indicator) -> Counted:
    sessions = registry.sessions
    amount = sessions["yield_low"].notna() | sessions["yield_high"].notna()
    cut = sessions["session_type"].isin(NECROSECTOMIES).to_numpy()
    return _tallied(sessions["period"], (amount & sessions["yield_unit"].notna()).to_numpy(), cut)


_NIGHTS = {"extra nights": "extra_nights", "intensive care nights": "icu_nights"}
_EVENT_COUNTS = {"patients treated, once a quarter": _by_patient, "stent-days": _by_stent_days}
_COUNTS: dict[str, Callable[[Registry, Indicator], Counted]] = {
    "late drainage": _drained_late,
    "drainage worked": _drained_well,
    "more than three sessions": _needed_many,
    "scan after drainage": _scanned,
    "outcome known": _outcome_known,
    "deaths within 30 days": _died,
    "deaths within 90 days": _died,
    "resolved within 180 days": _resolved,
    "surgery": _operated,
    "stents out within 28 days": _stents_out,
    "carbon dioxide": _gas,
    "events looked for": _looked_for,
    "yield recorded": _with_yield,
}
