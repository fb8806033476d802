"""The adverse events one by one, for the meeting."""

from __future__ import annotations

import numpy as np
import pandas as pd

from necrostats.definitions.age import age_band
from necrostats.definitions.extent import extent_of_patients
from necrostats.registry.tables import Registry
from necrostats.results import Listing, Method, Population

_SHOWN = ("event_type", "day", "agree_grade", "attribution", "treatment")


def adverse_event_cases(registry: Registry, *, by: None = None, level: float = 0.95) -> Listing:
    """The adverse events one by one, without a date, an id or an exact age: day offsets, grade and treatment."""
    events = registry.adverse_events
    position = registry.position("adverse_events")
    table = pd.DataFrame(
        {
            "case": np.arange(1, len(events) + 1),
            "age_band": age_band(registry.patients["age_years"]).iloc[position].to_numpy(),
            "extent_class": extent_of_patients(registry).iloc[position].to_numpy(),
            **{name: events[name].to_numpy() for name in _SHOWN},
        }
    )
    return Listing(
        title="Adverse events, one by one",
        table=table,
        population=Population(patients=len(np.unique(position))),
        method=Method(
            estimand="a listing, not an estimate",
            estimator="every adverse event recorded for these sessions",
            interval="none",
            level=level,
            definition="day counted from the index drainage; age in bands; no identifier and no date",
        ),
    )
