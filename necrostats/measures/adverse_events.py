"""How often sessions are followed by adverse events, over every denominator."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from necrostats.definitions.adverse_events import THIRTY_DAYS, EventWindow, window_named
from necrostats.definitions.grades import AGREE, GradingScale, scale_named
from necrostats.errors import DesignError
from necrostats.measures.adverse_event_choosing import (
    ANY,
    EVENT_TYPES,
    ChosenEvents,
    chosen_events,
    known_types,
    of_type,
    of_types,
    whole_histories,
)
from necrostats.measures.adverse_event_stents import StentTime, stent_time
from necrostats.measures.adverse_event_units import (
    DENOMINATORS,
    STENT_DAYS,
    StentGroup,
    Watchful,
    known_interval,
    known_units,
    rates_of,
)
from necrostats.measures.adverse_event_wording import denominator_method, rate_notes
from necrostats.measures.grouping import OF_THE_SESSION, patient_groups, session_groups
from necrostats.measures.watching import Watched, watched
from necrostats.registry.tables import Registry
from necrostats.results import Population, Rates


def adverse_event_rates(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    event_type: str | Sequence[str] | None = None,
    window: EventWindow | str = THIRTY_DAYS,
    grade_from: str | None = None,
    grading: GradingScale | str = AGREE,
    attribution_from: str | None = None,
    units: Sequence[str] = DENOMINATORS,
    interval: str = "Clopper–Pearson",
) -> Rates:
    """The denominator table: patients, sessions and patient-days, for any event and for each type.

    A session counts when somebody looked for events (`events_checked`) or an event in its window is recorded; the
    others leave every denominator and are counted. Patient-days run from each such session to the end of its window,
    to the next session of the patient, or to the last day the patient was seen. `event_type` keeps one type (or
    several), or "any adverse event"; `grade_from` keeps that grade of `grading` (or "serious") and the graver ones,
    `attribution_from` that attribution and the firmer ones (events without are counted as left out); `window` is a
    window or its name; `by` is a column of the patient at the start or of the session. `units` may add "events per
    patient" and "100 stent-days": stent-related events on the days on which a stent was in, whatever the window.
    `interval` is that of patients: "Clopper–Pearson", "mid-P", "Blaker" or "Wilson". Raises DesignError for stent-days
    by something of the session, or from a registry narrowed to a period, which holds that period's events beside all
    stents.
    """
    window, scale = window_named(window), scale_named(grading)
    variables, units = known_types(event_type, (ANY, *EVENT_TYPES)), known_units(units)
    interval = known_interval(interval)
    groups = session_groups(registry, by)
    seen = watched(registry, groups, window)
    stents, of_stents = stent_groups(registry, seen, by, units, len(groups.labels))
    counted = seen.event_session >= 0 if stents is None else (seen.event_session >= 0) | stents.events
    of_kind = counted & of_types(registry, variables)
    chosen = chosen_events(registry, scale, grade_from, attribution_from, of_kind)
    sides = [Watchful.of(seen, place) for place in range(len(groups.labels))]
    rows = [
        {"variable": variable, "group": place, **row}
        for variable in variables
        for place, side in enumerate(sides)
        for row in rates_of(
            seen, side, of_stents[place], chosen.counts & of_type(registry, variable), units, interval, level
        )
    ]
    table = pd.DataFrame(rows, columns=list(Rates.columns))
    table["variable"] = pd.Categorical(table["variable"], categories=list(variables), ordered=True)
    table["group"] = groups.column(table["group"].to_numpy(dtype=np.int64))
    table["unit"] = pd.Categorical(table["unit"], categories=list(units), ordered=True)
    return Rates(
        title=f"Adverse events {window.sentence()}{chosen.words}",
        table=table,
        population=_population(seen, stents, chosen),
        method=denominator_method(window, scale, chosen, units, interval, level),
        notes=rate_notes(seen, rows, sides, groups.labels, units),
    )


def stent_groups(
    registry: Registry, seen: Watched, by: str | None, units: Sequence[str], groups: int
) -> tuple[StentTime | None, list[StentGroup | None]]:
    """Stent-days, and those of each group, where they were asked for."""
    if STENT_DAYS not in units:
        return None, [None] * groups
    whole_histories(registry, "Events per 100 stent-days")
    if by in OF_THE_SESSION:
        raise DesignError(
            f'Stent-days cannot be split by "{by}": a stent stays in over many sessions. Group by something of the '
            f'patient, or leave "{STENT_DAYS}" out of the units.'
        )
    time, codes = stent_time(registry, seen.looked_at), patient_groups(registry, by).codes
    return time, [StentGroup(time=time, own=(codes == place) & (time.days > 0)) for place in range(groups)]


def _population(seen: Watched, stents: StentTime | None, chosen: ChosenEvents) -> Population:
    left_out = {**seen.left_out(), **(stents.left_out() if stents else {}), **chosen.left_out()}
    return Population(patients=seen.patients, sessions=seen.sessions, left_out=left_out)
