"""Many different invented courses, the same on every run, with stents and volumes."""

from __future__ import annotations

import pandas as pd

from builders.courses import Course, registry_of
from necrostats.registry.tables import Registry, registry_from


def with_tables(registry: Registry, **tables: list[dict]) -> Registry:
    """The registry with other rows in the tables named."""
    return registry_from(
        {**registry.tables, **{name: pd.DataFrame(rows) for name, rows in tables.items()}}, recorded=registry.recorded
    )


def _course(place: int) -> Course:
    """Resolution, death, surgery, a drain, loss to view or treatment going on, in turn."""
    sessions = [6 + 9 * number for number in range(place % 5)]
    last = 20 + (place * 7) % 120
    ends = {0: {"died_on": last}, 1: {"surgery_on": last}, 2: {"drain_on": last}, 3: {"observed": 30 + last}, 4: {}}
    how = ends.get(place % 12, {"well_on": [last], "scans": [(10, 80.0), (last, 12.0)]})
    about = {"infection": ("confirmed", "suspected", "none")[place % 3]}
    events = [(3, "bleeding")] if place % 6 == 0 else []
    return Course(necrosectomies=sessions, last_contact=last, events=events, about=about, **how)


def many_courses(number: int) -> Registry:
    """So many patients, each with a metal stent and, every other one, a plastic one of which nobody knows the end."""
    registry = registry_of(*map(_course, range(number)))
    stents = [
        {
            "stent_id": f"T{place}",
            "patient_id": f"P{place + 1}",
            "stent_type": "lumen_apposing",
            "placed_day": 0,
            "removed_day": 20,
            "end_reason": "planned",
        }
        for place in range(number)
    ]
    stents += [
        {"stent_id": f"U{place}", "patient_id": f"P{place + 1}", "stent_type": "double_pigtail", "placed_day": 20}
        for place in range(0, number, 2)
    ]
    return with_tables(registry, stents=stents) if number else registry
