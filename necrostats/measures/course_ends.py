"""Counts that need no curve: where courses stood on the horizon day, deaths, necrosectomies, patients one by one.

What a unit does not record at all, so that no figure is made of it.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from necrostats.definitions.groups import age_band, extent_of_patients
from necrostats.definitions.outcomes import NEVER, end_days, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.adverse_events import PATIENTS
from necrostats.measures.grouping import Grouping, counted, patient_groups, summary_row, summary_table
from necrostats.measures.needs import EVENTS, EVENTS_CHECKED, INTERVENTIONS, of_resolution
from necrostats.measures.session_counts import counted_sessions, not_resolved_within
from necrostats.registry.codebook import NECROSECTOMIES
from necrostats.registry.tables import Registry
from necrostats.results import Listing, Method, Note, Population, Rates, Summary
from necrostats.stats.proportions import clopper_pearson

UNSHOWN = "patients seen to that day of whom no scan or review shows whether they were resolved"
EXACT = "Clopper and Pearson, Biometrika 1934;26:404"


def not_recorded(registry: Registry, definition: ResolutionDefinition) -> dict[str, str]:
    """What a figure needs and the unit does not record at all: a table that is not kept is no table of noes.

    The figures are "resolution" (sessions, time, recurrence) and "events".
    """
    needed = {"resolution": _missing_for_resolution(registry, definition), "events": _missing_for_events(registry)}
    return {figure: what for figure, what in needed.items() if what}


def _missing_for_resolution(registry: Registry, definition: ResolutionDefinition) -> str:
    scans, reviews = registry.scans, registry.reviews
    sized = (scans["day"].gt(0) & scans["long_mm"].notna()).fillna(False).any()
    known = (reviews["day"].ge(0) & reviews["symptom_free"].notna()).fillna(False).any()
    needed = {
        "scans after the index drainage with the longest axis of the collection": not sized,
        "clinical reviews that say whether the patient had symptoms": definition.symptom_free and not known,
        "a record of surgery and percutaneous drains (other_interventions; its headings alone say there was none)": (
            INTERVENTIONS in of_resolution({"definition": definition}) and not INTERVENTIONS.met(registry)
        ),
    }
    return _joined(needed)


def _missing_for_events(registry: Registry) -> str:
    looked = registry.sessions["events_checked"].fillna(False).astype(bool).any()
    return _joined(
        {
            "a word for each session on whether anybody looked for adverse events": (
                not looked or not EVENTS_CHECKED.met(registry)
            ),
            "a record of adverse events (adverse_events; its headings alone say there was none)": (
                not EVENTS.met(registry)
            ),
        }
    )


def _joined(needed: Mapping[str, bool]) -> str:
    return " and ".join(what for what, lacking in needed.items() if lacking)


def course_ends(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
) -> Rates:
    """Where courses stood on the horizon day: patients with each end over those whose end is known, exact limits.

    Counted are patients whose horizon day lies before the data lock and who were not lost to view before an end, so
    that early ends are not counted before late ones could happen. Those left out are counted.

    Counted: patients whose end is known on the horizon day.
    Source: Clopper and Pearson, Biometrika 1934;26:404.
    """
    ends, groups = outcomes(registry, definition), patient_groups(registry, by)
    observed = registry.patients["observed_days"].to_numpy(dtype=np.int64) >= ends.horizon
    cause = np.where(ends.at_horizon, len(ends.causes) + 1, ends.cause)
    known, unknown = observed & (cause > 0) & (groups.codes >= 0), observed & (cause == 0)
    variables = (*ends.causes, not_resolved_within(ends.horizon))
    rows = [
        _exact_row(variable, label, int(np.count_nonzero(here & (cause == place))), int(here.sum()), level)
        for place, variable in enumerate(variables, start=1)
        for group, label in enumerate(groups.labels)
        for here in [known & (groups.codes == group)]
    ]
    return Rates(
        title=f"Where courses stood on day {ends.horizon}",
        frame=_rates_table(rows, variables, groups),
        population=Population(
            patients=int(known.sum()),
            left_out={
                f"patients not yet observed for {ends.horizon} days": int(np.count_nonzero(~observed)),
                f"patients lost to view before day {ends.horizon}": int(
                    np.count_nonzero(unknown & (ends.day < ends.horizon))
                ),
                UNSHOWN: int(np.count_nonzero(unknown & (ends.day >= ends.horizon))),
                "patients without a group": int(np.count_nonzero(observed & (cause > 0) & (groups.codes < 0))),
            },
        ),
        method=_exact_method(
            f"share of patients by the end of their course on day {ends.horizon} of index drainage, among those whose "
            "end is known",
            level,
            definition.sentence(),
        ),
    )


def deaths(registry: Registry, *, by: str | None = None, level: float = 0.95) -> Rates:
    """Patients who died while followed, from any cause and at any time, resolved or not; exact limits.

    Counted: patients with an index drainage.
    Source: Clopper and Pearson, Biometrika 1934;26:404.
    """
    groups, died = patient_groups(registry, by), end_days(registry, "death") < NEVER
    rows = [
        _exact_row("death", label, int(np.count_nonzero(died & here)), int(here.sum()), level)
        for group, label in enumerate(groups.labels)
        for here in [groups.codes == group]
    ]
    return Rates(
        title="Deaths while followed",
        frame=_rates_table(rows, ("death",), groups),
        population=Population(
            patients=len(registry.patients) - groups.left_out, left_out={"patients without a group": groups.left_out}
        ),
        method=_exact_method(
            "share of patients who died from any cause while followed, resolved or not",
            level,
            "a share of all patients, however long each was followed",
        ),
    )


def _exact_row(variable: str, group: str, events: int, n: int, level: float) -> dict:
    found = clopper_pearson(events, n, level=level)
    return {
        "variable": variable,
        "group": group,
        "unit": PATIENTS,
        "events": events,
        "n": n,
        "per": 1,
        "estimate": found.estimate,
        "low": found.low,
        "high": found.high,
    }


def _rates_table(rows: list[dict], variables: tuple[str, ...], groups: Grouping) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=list(Rates.columns))
    for name, labels in (("variable", variables), ("group", groups.labels), ("unit", (PATIENTS,))):
        table[name] = pd.Categorical(table[name], categories=list(labels), ordered=True)
    return table.astype({"events": "Int64", "n": "Int64", "estimate": float, "low": float, "high": float})


def _exact_method(estimand: str, level: float, definition: str) -> Method:
    return Method(
        estimand=estimand,
        estimator="patients over patients",
        interval="Clopper–Pearson",
        level=level,
        definition=definition,
        references=(EXACT,),
    )


def necrosectomies_a_patient(registry: Registry, *, by: str | None = None, level: float = 0.95) -> Summary:
    """How many patients had how many necrosectomies: counts, with nothing estimated.

    A note says of how many patients sessions were set aside, so that their number is a lower bound.

    Counted: patients with an index drainage.
    Source: a count or description, common practice.
    """
    groups, done = patient_groups(registry, by), _necrosectomies(registry)
    least = counted_sessions(registry, outcomes(registry, DOCUMENTED_RESOLUTION)).lower_bounds
    levels = range(int(done.max(initial=0)) + 1)
    rows = [
        summary_row(
            "necrosectomies",
            group,
            "count",
            level=f"with {each}",
            n=int(here.sum()),
            missing=0,
            events=int(np.count_nonzero(done[here] == each)),
        )
        for group in range(len(groups.labels))
        for here in [groups.codes == group]
        for each in levels
    ]
    return Summary(
        title="Patients by number of necrosectomies",
        frame=summary_table(rows, groups),
        population=Population(
            patients=len(registry.patients) - groups.left_out,
            sessions=int(done.sum()),
            left_out={"patients without a group": groups.left_out},
        ),
        method=Method(
            estimand="patients by the number of necrosectomies recorded, whether or not more are to come",
            estimator="count of patients",
            interval="none: a count",
            level=level,
        ),
        notes=_lower_bounds(least),
    )


def _lower_bounds(patients: int) -> tuple[Note, ...]:
    if not patients:
        return ()
    have = counted(patients, "patient has", "patients have")
    text = f"{have} sessions that were set aside: the number of necrosectomies is a lower bound."
    return (Note(code="MISSING", text=text),)


def _necrosectomies(registry: Registry) -> np.ndarray:
    of_necrosis = registry.sessions["session_type"].isin(NECROSECTOMIES).to_numpy()
    return np.bincount(registry.position("sessions")[of_necrosis], minlength=len(registry.patients))


def case_listing(
    registry: Registry,
    *,
    by: None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
) -> Listing:
    """Patients one by one, without an id, a date or an exact age: what they had and where their course stands.

    Counted: patients with an index drainage, one row each.
    Source: a count or description, common practice.
    """
    ends, patients = outcomes(registry, definition), len(registry.patients)
    known = "resolution" not in not_recorded(registry, definition)
    names = np.array([*(("last seen unresolved",) if known else ("not known",)), *ends.causes], dtype=object)
    events = np.bincount(registry.position("adverse_events"), minlength=patients)
    columns = {
        "case": np.arange(1, patients + 1),
        "age_band": age_band(registry.patients["age_years"]).to_numpy(),
        "infection": registry.patients["infection"].to_numpy(),
        "extent_class": extent_of_patients(registry).to_numpy(),
        "necrosectomies": _necrosectomies(registry),
        "course": names[ends.cause],
        "day": ends.day,
        "adverse_events_recorded": events,
        "vital_status": registry.patients["vital_status"].to_numpy(),
    }
    return Listing(
        title="Patients, one by one",
        frame=pd.DataFrame(columns),
        population=Population(patients=patients),
        method=listing_method("every patient, with the end of the course and its day", level),
    )


def listing_method(estimator: str, level: float = 0.95) -> Method:
    """The method of a listing: nothing is estimated."""
    return Method(estimand="a listing, not an estimate", estimator=estimator, interval="none", level=level)
