"""Small registries for tests: say what happened to each patient, get a Registry."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from necrostats.registry.codebook import TABLES
from necrostats.registry.tables import Recorded, Registry, registry_from

EVERYTHING = Recorded(
    tables=frozenset(TABLES),
    columns=frozenset((name, column.name) for name, table in TABLES.items() for column in table.all_columns),
)


@dataclass(kw_only=True)
class Course:
    """One patient with one collection, drained on day 0 in 2024Q1 unless said otherwise."""

    necrosectomies: list[int] = field(default_factory=list)
    scans: list[tuple[int, float]] = field(default_factory=list)
    well_on: list[int] = field(default_factory=list)
    unwell_on: list[int] = field(default_factory=list)
    died_on: int | None = None
    surgery_on: int | None = None
    drain_on: int | None = None
    events: list[tuple[int, str]] = field(default_factory=list)
    tools: dict[int, list[str]] = field(default_factory=dict)
    yields: dict[int, tuple[float, float | None]] = field(default_factory=dict)
    unchecked: list[int] = field(default_factory=list)
    last_contact: int = 200
    observed: int = 400
    period: str = "2024Q1"
    late_collection: tuple[int, list[tuple[int, float]]] | None = None
    about: dict = field(default_factory=dict)
    index: dict = field(default_factory=dict)


def registry_of(*courses: Course, **about) -> Registry:
    """The registry of a unit that records everything, in which these courses, and nothing else, happened."""
    rows: dict[str, list[dict]] = {}

    def add(table: str, **row) -> None:
        rows.setdefault(table, []).append(row)

    for number, course in enumerate(courses, start=1):
        _add_course(add, f"P{number}", course)
    tables = {name: pd.DataFrame(rows.get(name, [])) for name in TABLES}
    return registry_from(tables, **{"recorded": EVERYTHING, **about})


def _add_course(add, who: str, course: Course) -> None:
    add(
        "patients",
        patient_id=who,
        index_period=course.period,
        observed_days=course.observed,
        last_contact_day=course.last_contact if course.died_on is None else course.died_on,
        vital_status="alive" if course.died_on is None else "dead",
        death_day=course.died_on,
        **course.about,
    )
    add("collections", collection_id=f"{who}C1", patient_id=who, is_index=True, detected_day=-10, **course.index)
    _add_scans(add, who, "C1", course.scans)
    if course.late_collection:
        found, scans = course.late_collection
        add("collections", collection_id=f"{who}C2", patient_id=who, is_index=False, detected_day=found)
        _add_scans(add, who, "C2", scans)
    _add_sessions(add, who, course)
    for free, days in ((True, course.well_on), (False, course.unwell_on)):
        for day in days:
            add("reviews", patient_id=who, day=day, symptom_free=free)
    for kind, day in (("surgical_necrosectomy", course.surgery_on), ("percutaneous_drain", course.drain_on)):
        if day is not None:
            add("other_interventions", patient_id=who, day=day, kind=kind)
    for number, (day, event) in enumerate(course.events):
        add("adverse_events", event_id=f"{who}E{number}", patient_id=who, day=day, event_type=event)


def _add_scans(add, who: str, collection: str, scans: list[tuple[int, float]]) -> None:
    for number, (day, size) in enumerate(scans):
        name = f"{who}{collection}"
        add("scans", scan_id=f"{name}S{number}", patient_id=who, collection_id=name, day=day, long_mm=size)


def _add_sessions(add, who: str, course: Course) -> None:
    for day, kind in [(0, "drainage"), *((day, "necrosectomy") for day in course.necrosectomies)]:
        low, high = course.yields.get(day, (None, None))
        add(
            "sessions",
            session_id=f"{who}D{day}",
            patient_id=who,
            collection_id=f"{who}C1",
            day=day,
            period=course.period,
            session_type=kind,
            events_checked=day not in course.unchecked,
            yield_low=low,
            yield_high=high,
            yield_unit=None if low is None else "ml",
        )
        for order, tool in enumerate(course.tools.get(day, []), start=1):
            add("instrument_uses", session_id=f"{who}D{day}", instrument_class=tool, use_order=order)
