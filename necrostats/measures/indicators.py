"""What a unit looks at every quarter, counted: events and denominator of each indicator in each quarter."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.definitions.indicators import Indicator
from necrostats.definitions.outcomes import SURGERY, end_days, first_days, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION
from necrostats.measures.adverse_events import adverse_event_rates
from necrostats.measures.needs import EVENTS, EVENTS_CHECKED, INTERVENTIONS, REVIEWS, SCANS, STENTS, YIELDS, Need
from necrostats.registry.codebook import NECROSECTOMIES
from necrostats.registry.tables import Registry

LONGEST_IN = 28
CARBON_DIOXIDE = Need(
    table="sessions",
    columns=("carbon_dioxide",),
    lacking="The gas used for insufflation is not recorded.",
    remedy="Add the column carbon_dioxide to sessions.",
)
_NEEDS = {
    "resolved within 180 days": (SCANS, REVIEWS, INTERVENTIONS),
    "surgery": (INTERVENTIONS,),
    "stents out within 28 days": (STENTS,),
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
    return _NEEDS.get(indicator.name, (EVENTS, EVENTS_CHECKED) if indicator.event_types else ())


def counted(registry: Registry, indicator: Indicator) -> Counted:
    """An indicator, counted by quarter. What it needs must be recorded."""
    if indicator.event_types:
        return _by_session(registry, indicator)
    return _COUNTS[indicator.name](registry, indicator)


def _by_session(registry: Registry, indicator: Indicator) -> Counted:
    kinds = indicator.event_types if len(indicator.event_types) > 1 else indicator.event_types[0]
    parts = [kinds] if isinstance(kinds, str) else list(kinds)
    tables = [
        adverse_event_rates(
            registry, by="period", event_type=kind, grade_from=indicator.grade_from, units=("sessions",)
        ).frame
        for kind in parts
    ]
    shares = [table.set_index(table["group"].astype(str)) for table in tables]
    quarters = list(registry.periods)
    events = sum(each["events"].reindex(quarters, fill_value=0).to_numpy(dtype=np.int64) for each in shares)
    n = shares[0]["n"].reindex(quarters, fill_value=0).to_numpy(dtype=np.int64)
    return Counted(events=np.minimum(events, n), n=n)


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


_COUNTS: dict[str, Callable[[Registry, Indicator], Counted]] = {
    "deaths within 30 days": _died,
    "deaths within 90 days": _died,
    "resolved within 180 days": _resolved,
    "surgery": _operated,
    "stents out within 28 days": _stents_out,
    "carbon dioxide": _gas,
    "events looked for": _looked_for,
    "yield recorded": _with_yield,
}
