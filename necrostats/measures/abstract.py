"""What the abstract of a case series rests on: one bundle of results, made once, with a hash of data and definitions.

Who came in and who did not; the items of the reporting checklists, each with what meets it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from necrostats.definitions.adverse_events import THIRTY_DAYS, EventWindow, window_named
from necrostats.definitions.reporting_items import REPORTING_ITEMS, ReportingItem
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition, definition_named
from necrostats.errors import ChoiceError
from necrostats.measures.adverse_event_grades import worst_grades
from necrostats.measures.adverse_events import PATIENTS, SESSIONS, adverse_event_rates
from necrostats.measures.case_mix import case_mix
from necrostats.measures.course_ends import (
    case_listing,
    course_ends,
    deaths,
    listing_method,
    necrosectomies_a_patient,
    not_recorded,
)
from necrostats.measures.event_follow_up import whole_histories
from necrostats.measures.grouping import Grouping, patient_groups
from necrostats.measures.resolution import NAMED_DAYS, sessions_to_resolution, time_to_resolution
from necrostats.measures.resolution_comparison import compare_resolution
from necrostats.measures.resolution_sensitivity import sensitivity
from necrostats.measures.scan_schedule import scan_schedule
from necrostats.measures.survival import follow_up, recurrence
from necrostats.registry.tables import Registry
from necrostats.results import Listing, Population, Result

HASH_LENGTH = 12
FEWEST_FOR_COUNTS, FEWEST_FOR_CURVES, FEWEST_FOR_MODELS = 5, 10, 20
NAMED_DAY, NAMED_SESSION = 90, 3
FLOW = ("ends", "sessions", "time", "recurrence", "events")
"""The results of which the flow says how many they count."""

REASONS = {
    "DUPLICATE_ID": "the same study code with different content",
    "DUPLICATE_ROW": "written twice, word for word; the first is kept",
    "INDEX_UNKNOWN": "the day of the index drainage is not known",
    "NOT_A_DATE": "a required date cannot be read",
    "PARENT_SET_ASIDE": "the record it belongs to is set aside",
    "REQUIRED": "a required value is missing",
    "SKIPPED": "a row that names no patient",
}


@dataclass(frozen=True, kw_only=True, eq=False)
class CaseSeries:
    """The results that an abstract is written from, by name, and what they were made with.

    `lacking` says of each figure that is not there what it would need. `by` is "" for one group. `day` and `session`
    are the points named in advance. `data_hash` and `definition_hash` are the first 12 hexadecimal digits of SHA-256
    over the tables and over what was asked of them.
    """

    results: Mapping[str, Result]
    lacking: Mapping[str, str]
    definition: ResolutionDefinition
    window: EventWindow
    by: str
    level: float
    day: int
    session: int
    patients: int
    periods: tuple[str, ...]
    data_hash: str
    definition_hash: str

    def __repr__(self) -> str:
        return f"CaseSeries: {self.patients} patients, {len(self.results)} results, {self.stamp}"

    @property
    def stamp(self) -> str:
        """The mark by which a draft is known to rest on these data and definitions."""
        return f"data {self.data_hash}, definitions {self.definition_hash}"

    @property
    def shown(self) -> tuple[Result, ...]:
        """The results that have a method to tell of, in the order in which a report shows them."""
        return tuple(result for result in self.results.values() if not isinstance(result, Listing))

    def table_for_print(self) -> str:
        """The name of the one table to print: the patients, by group or one by one."""
        return next((name for name in ("baseline_by_group", "baseline", "cases") if name in self.results), "flow")

    def figure_for_print(self) -> str:
        """The name of the one figure to print: time to resolution, else where courses stood; "" for none."""
        return next((name for name in ("time_by_group", "time", "ends", "events") if name in self.results), "")


def case_series(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition | str = DOCUMENTED_RESOLUTION,
    window: EventWindow | str = THIRTY_DAYS,
    day: int = NAMED_DAY,
    session: int = NAMED_SESSION,
) -> CaseSeries:
    """All results of a case series, as far as the number of patients and the record allow them.

    Fewer than 5 patients: a listing and no rate. 5 to 9: counts with exact intervals, no curve. From 10: curves. From
    20: the named comparison, where `by` names groups of 10 or more. A figure that needs a record which the unit does
    not keep (scans, reviews, whether events were looked for) is left out, and `lacking` says what it would need.
    `definition` and `window` may be names of their catalogues; `day` is no later than the horizon. ChoiceError for a
    name off its list, DesignError for groups known only later and for a registry narrowed to the sessions of a period.

    Counted: patients with an index drainage; each result says whom it counts.
    Source: of each result; the items of STROBE and PROCESS for what a series must tell.
    """
    whole_histories(registry, "A case series")
    definition, window, by = definition_named(definition), window_named(window), by or None
    session, day = _whole("session", session, 0), min(_whole("day", day, 1), definition.horizon_days)
    groups = patient_groups(registry, by)
    asked = {"level": level, "definition": definition}
    lacking = not_recorded(registry, definition)
    made: dict[str, Result] = {}
    n = len(registry.patients)
    if 0 < n < FEWEST_FOR_COUNTS:
        made["cases"] = case_listing(registry, definition=definition)
    elif n:
        made["baseline"] = case_mix(registry, level=level)
        if by:
            made["baseline_by_group"] = case_mix(registry, by=by, level=level)
        made["necrosectomies"] = necrosectomies_a_patient(registry, level=level)
        made |= _of_resolution(registry, by, n, day, session, lacking, asked)
        made |= _of_events(registry, by, level, window, lacking)
        made["deaths"] = deaths(registry, level=level)
        made["follow_up"] = follow_up(registry, level=level)
        if by and n >= FEWEST_FOR_MODELS and "time" in made and _large_enough(groups):
            made["differences"] = compare_resolution(registry, by=by, at=day, **asked)
    flow = inclusion_flow(registry, tuple(made[name] for name in FLOW if name in made))
    return CaseSeries(
        results={"flow": flow, **made},
        lacking=lacking,
        definition=definition,
        window=window,
        by=by or "",
        level=level,
        day=day,
        session=session,
        patients=n,
        periods=registry.periods,
        data_hash=data_hash(registry),
        definition_hash=_hash(repr((definition, window, by, level, day, session))),
    )


def _whole(name: str, value: int, least: int) -> int:
    if isinstance(value, bool) or int(value) != value or value < least:
        raise ChoiceError(f"{name} is {value}: a whole number, {least} or more, is needed.")
    return int(value)


def _large_enough(groups: Grouping) -> bool:
    sizes = np.bincount(groups.codes[groups.codes >= 0], minlength=len(groups.labels))
    return bool(np.count_nonzero(sizes >= FEWEST_FOR_CURVES) >= 2)


def _of_resolution(registry, by, n: int, day: int, session: int, lacking, asked: dict) -> dict[str, Result]:
    if "resolution" in lacking:
        return {}
    made: dict[str, Result] = {"ends": course_ends(registry, **asked)}
    if by:
        made["ends_by_group"] = course_ends(registry, by=by, **asked)
    if n < FEWEST_FOR_CURVES:
        return made
    days = tuple(sorted({*(each for each in NAMED_DAYS if each <= asked["definition"].horizon_days), day}))
    made["sessions"] = sessions_to_resolution(registry, up_to=max(8, session), **asked)
    made["time"] = time_to_resolution(registry, days=days, **asked)
    if by:
        made["sessions_by_group"] = sessions_to_resolution(registry, by=by, up_to=max(8, session), **asked)
        made["time_by_group"] = time_to_resolution(registry, by=by, days=days, **asked)
    made["recurrence"] = recurrence(registry, **asked)
    made["scan_schedule"] = scan_schedule(registry, by=by, **asked)
    made["sensitivity"] = sensitivity(registry, at=day, level=asked["level"])
    return made


def _of_events(registry, by, level: float, window: EventWindow, lacking) -> dict[str, Result]:
    if "events" in lacking:
        return {}
    made = {"events": adverse_event_rates(registry, level=level, window=window)}
    if by:
        made["events_by_group"] = adverse_event_rates(
            registry, by=by, level=level, window=window, event_type="any adverse event", units=(PATIENTS, SESSIONS)
        )
    return made | {"grades": worst_grades(registry, level=level, window=window)}


def data_hash(registry: Registry) -> str:
    """The first digits of SHA-256 over what the nine tables hold, in whatever order their rows stand."""
    lines = [
        "\n".join(
            [name, ",".join(map(str, frame.columns)), *sorted(frame.to_csv(index=False, header=False).splitlines())]
        )
        for name, frame in registry.tables.items()
    ]
    return _hash("\n".join(lines))


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:HASH_LENGTH]


def inclusion_flow(registry: Registry, results: tuple[Result, ...] = ()) -> Listing:
    """How many patients there were at each stage, and why others are not among them; then who each result counts.

    Counted: patients of the source, and of each result those it counts.
    Source: a count or description, common practice.
    """
    aside, kept = _patients_set_aside(registry), len(registry.patients)
    elsewhere = max(0, registry.source.rows_kept.get("patients", 0) - kept)
    whole = kept + elsewhere + sum(aside.values())
    rows = [("In the source", "rows about patients", whole)] if whole > kept else []
    rows += [("Set aside", reason, count) for reason, count in aside.items()]
    rows += [("Not asked for", "patients outside the period or selection", elsewhere)] if elsewhere else []
    rows.append(("Included", "patients with an index drainage", kept))
    for result in results:
        left_out = [
            ("Left out", f"{result.title}: {reason}", count) for reason, count in result.population.left_out.items()
        ]
        rows += [("Counted", f"{result.title}: patients", result.population.patients), *left_out] if left_out else []
    return Listing(
        title="Who was included, and who was not",
        frame=pd.DataFrame(rows, columns=["stage", "who", "number"]),
        population=Population(patients=kept, left_out=aside),
        method=listing_method("every patient of the source, by stage"),
    )


def _patients_set_aside(registry: Registry) -> dict[str, int]:
    """Rows about patients that were set aside, now or when the export was tidied, by the first reason of each."""
    listed = registry.set_aside
    rows = listed[(listed["table"] == "patients") & (listed["scope"] == "row")]
    rows = rows.drop_duplicates(["file", "sheet", "row"])
    counts = rows["rule"].value_counts(sort=False)
    aside = {REASONS.get(rule, str(rule).replace("_", " ").lower()): int(count) for rule, count in counts.items()}
    unlisted = registry.source.rows_read.get("patients", 0) - registry.source.rows_kept.get("patients", 0)
    unlisted -= sum(aside.values())
    return aside | ({"for a reason that is not listed": unlisted} if unlisted > 0 else {})


def reporting_checklist(series: CaseSeries) -> Listing:
    """Each item of STROBE (cohort) and PROCESS (case series): met, and by what; in part; missing; or the author's.

    Counted: items of the two checklists.
    Source: STROBE, cohort studies (von Elm et al., Lancet 2007;370:1453); PROCESS 2023, case series (Mathew et al., Int
        J Surg 2023;109:3760).
    """
    rows = [
        (item.checklist.split(",")[0], item.number, item.topic, item.asks, *_state(series, item))
        for item in REPORTING_ITEMS
    ]
    return Listing(
        title="Reporting items, and where each is met",
        frame=pd.DataFrame(
            rows, columns=["checklist", "item", "topic", "asks_for", "state", "where_or_what_is_missing"]
        ),
        population=Population(patients=series.patients),
        method=replace(
            listing_method("the items of two checklists, in words of our own", series.level),
            references=tuple(dict.fromkeys(item.checklist for item in REPORTING_ITEMS)),
        ),
    )


TEXTS = {"abstract": "the structured abstract", "methods": "the methods paragraph", "definition": "the definitions"}
_NEEDS = {"events": "events", "grades": "events"} | dict.fromkeys(
    ("time", "sessions", "ends", "recurrence", "sensitivity", "scan_schedule"), "resolution"
)


def _state(series: CaseSeries, item: ReportingItem) -> tuple[str, str]:
    if not item.met_by:
        return "for the author", item.still_open
    there = [
        TEXTS.get(part) or f'"{series.results[part].title}"'
        for part in item.met_by
        if part in {*TEXTS, *series.results}
    ]
    if not there:
        return "missing", _why_missing(series, item.met_by)
    more = f"; still to say: {item.still_open}" if item.still_open else ""
    return "in part" if item.still_open else "met", f"{', '.join(there)}{more}"


def _why_missing(series: CaseSeries, parts: tuple[str, ...]) -> str:
    reasons = [series.lacking[_NEEDS[part]] for part in parts if _NEEDS.get(part) in series.lacking]
    if reasons:
        return f"not recorded: {reasons[0]}"
    if "differences" in parts and not series.by:
        return "no groups were asked for"
    return f"too few patients ({series.patients}) for it"
