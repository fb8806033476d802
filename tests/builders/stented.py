"""Small registries with stents, grades and events put down to a stent, for tests."""

from __future__ import annotations

import pandas as pd

from builders.courses import Course, registry_of
from necrostats.registry.tables import Registry, registry_from


def with_stents(registry: Registry, *stents: dict) -> Registry:
    """The registry with these stents; each names at least its patient_id and placed_day."""
    rows = [
        {"stent_id": f"T{number}", "stent_type": "lumen_apposing", **stent} for number, stent in enumerate(stents, 1)
    ]
    return registry_from({**registry.tables, "stents": pd.DataFrame(rows)}, recorded=registry.recorded)


def with_events(registry: Registry, **columns: list) -> Registry:
    """The registry with these columns written into its adverse events, in their order."""
    return registry_from(
        {**registry.tables, "adverse_events": registry.adverse_events.assign(**columns)}, recorded=registry.recorded
    )


def graded(*grades: str | None, column: str = "agree_grade") -> Registry:
    """One patient an event, each with a bleed on day 2 of that grade."""
    return with_events(registry_of(*[Course(events=[(2, "bleeding")]) for _ in grades]), **{column: list(grades)})


def two_arms(
    events: int, n: int, events_ref: int, n_ref: int, *, kind: str = "bleeding", sessions: int = 0
) -> Registry:
    """Men with so many affected of n against women, each patient with `sessions` necrosectomies after the drainage."""
    days = [10 * (each + 1) for each in range(sessions)]

    def course(sex: str, affected: bool) -> Course:
        happened = [(2, kind)] if affected else []
        return Course(necrosectomies=days, events=happened, about={"sex": sex})

    men = [course("male", each < events) for each in range(n)]
    women = [course("female", each < events_ref) for each in range(n_ref)]
    return registry_of(*women, *men)
