"""Is one group resolved sooner or more often than another? Differences first, then tests and hazard ratios."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from necrostats.definitions.outcomes import NEVER, end_days, last_seen_days
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.errors import ChoiceError, unknown_choice
from necrostats.measures.grouping import Grouping, patient_groups
from necrostats.measures.needs import needing, of_resolution
from necrostats.measures.resolution import (
    DAYS,
    CoursesAlong,
    by_point,
    competing,
    courses_along,
    named_point,
    named_tau,
)
from necrostats.measures.resolution_contrasts import (
    FEWEST_FOR_A_CONTRAST,
    Found,
    Model,
    Sides,
    differences,
    event_free_log_rank,
    gray,
    hazard_ratios,
    size_notes,
)
from necrostats.measures.scan_schedule import gap_quartiles, imbalance, scan_gaps
from necrostats.registry.tables import Registry
from necrostats.results import Comparison, Method, Note
from necrostats.stats.multiplicity import holm

ALL_GROUPS, EACH_OTHER = "all groups", "each other"
COLUMNS = (
    *Comparison.columns,
    "unit",
    "events",
    "n",
    "events_ref",
    "n_ref",
    "test",
    "limits",
    "p_unadjusted",
)
NUMBERS = ("estimate", "low", "high", "statistic", "p_value")
COUNTS = ("events", "n", "events_ref", "n_ref")
REFERENCES = (
    "Gray, Ann Stat 1988;16:1141",
    "Klein et al., Stat Med 2007;26:4505",
    "Andersen, Lifetime Data Anal 2013;19:397",
    "Welch, Biometrika 1947;34:28",
    "Cox, J R Stat Soc B 1972;34:187",
    "Grambsch and Therneau, Biometrika 1994;81:515",
)
SESSION_REFERENCES = (*REFERENCES[:4], "Prentice and Gloeckler, Biometrics 1978;34:57")
HOLM = "Holm, Scand J Stat 1979;6:65"


@needing("Resolution, compared", of_resolution)
def compare_resolution(
    registry: Registry,
    *,
    by: str,
    reference: str | None = None,
    axis: str = DAYS,
    at: int | None = None,
    tau: int | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
    strata: str | None = None,
) -> Comparison:
    """Each group against the reference (default: the first with anybody in it), deaths and interventions competing.

    `at` is the day (90) or, with axis="sessions", the session number (3) named in advance; `tau` is where means are
    restricted (day 180, session 8). In this order: the difference in incidence at `at` and in the restricted mean
    (never stratified), the cause-specific hazard ratio, Gray's test, and by days the log-rank test of survival free
    of death and surgery, among all groups at once. `strata` (known at the index drainage) stratifies both tests and
    the hazard ratio. One row is one patient, so errors need no clusters.
    Fewer than 5 patients in a group: nothing; fewer than 10, or 5 resolutions a coefficient: no hazard ratio.
    Raises DesignError for groups or strata known only later, ChoiceError for a name that is not on its list.

    Counted: patients with an index drainage whose group is recorded.
    Source: Gray, Ann Stat 1988;16:1141; Klein et al., Stat Med 2007;26:4505; Andersen, Lifetime Data Anal 2013;19:397;
        Welch, Biometrika 1947;34:28; Cox, J R Stat Soc B 1972;34:187; Grambsch and Therneau, Biometrika 1994;81:515;
        Holm, Scand J Stat 1979;6:65.
    """
    if by is None:
        raise ChoiceError('by is empty: name what groups the patients, such as by="infection".')
    along = courses_along(registry, axis, by, definition)
    point, until = named_point(axis, at), named_tau(axis, tau)
    stratum = None if strata is None else patient_groups(registry, strata)
    courses = along if stratum is None else _with_strata(along, stratum)
    sides = Sides(
        courses=courses,
        base=_reference(courses, reference),
        level=level,
        strata=None if stratum is None else stratum.codes,
    )
    pairs = differences(sides, point, until)
    model = hazard_ratios(sides, until)
    tests = _tests(registry, sides) if pairs else ()
    table = _table(sides, pairs, model, tests)
    days = courses.axis == DAYS
    return Comparison(
        title=f"{'Time' if days else 'Sessions'} to documented resolution, by {by.replace('_', ' ')}",
        frame=table,
        population=courses.population,
        method=Method(
            estimand=f"difference in the incidence of documented resolution {by_point(axis, point)}"
            f"{' of index drainage' if days else ''}, {competing(courses.causes)} competing; with it the difference in "
            "means, and the ratio of hazards of resolution among those still under treatment",
            estimator=_estimator(days, strata, model),
            interval="Welch's t limits; for hazard ratios normal limits on the log scale",
            level=level,
            definition=f"{definition.sentence()} Groups as they were, not assigned: a difference is an association. "
            "Counts are of patients resolved while observed.",
            references=_references(days, table, definition),
        ),
        notes=_notes(registry, sides, pairs, model, tests, table),
    )


def _with_strata(along: CoursesAlong, stratum: Grouping) -> CoursesAlong:
    """Only those with a stratum."""
    lost = along.known & (stratum.codes < 0)
    codes = np.where(lost, -1, along.groups.codes)
    return replace(
        along,
        groups=Grouping(labels=along.groups.labels, codes=codes),
        left_out={**along.left_out, "patients without a stratum": int(np.count_nonzero(lost))},
    )


def _reference(courses: CoursesAlong, reference: str | None) -> int:
    labels = courses.groups.labels
    if reference is not None:
        if reference not in labels:
            raise unknown_choice("group to compare with", reference, labels)
        return labels.index(reference)
    filled = np.flatnonzero(courses.sizes)
    return int(filled[0]) if filled.size else 0


def _tests(registry: Registry, sides: Sides) -> tuple[Found, ...]:
    if sides.courses.axis != DAYS:
        return (gray(sides),)
    first = np.minimum(end_days(registry, "death"), end_days(registry, "surgery"))
    happened = first < NEVER
    day = np.where(happened, first, last_seen_days(registry))
    return gray(sides), event_free_log_rank(sides, day, happened)


def _table(sides: Sides, pairs: dict, model: Model, tests: tuple[Found, ...]) -> pd.DataFrame:
    labels = sides.courses.groups.labels
    rows = [_row(sides, found, place) for place, both in pairs.items() for found in both]
    rows += [_row(sides, found, place) for place, found in model.by_group.items()]
    rows += [_test_row(sides, found, pairs) for found in tests]
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    order = list(dict.fromkeys(table["measure"]))
    table = table.sort_values("measure", key=lambda names: names.map(order.index), kind="stable", ignore_index=True)
    for name in NUMBERS:
        table[name] = table[name].astype("float64")
    for name in COUNTS:
        table[name] = table[name].astype("Int64")
    table["p_unadjusted"] = table["p_value"]
    for measure in order:
        rows_of = table["measure"] == measure
        table.loc[rows_of, "p_value"] = holm(table.loc[rows_of, "p_value"].to_numpy())
    table["measure"] = pd.Categorical(table["measure"], categories=order, ordered=True)
    for name, last in (("group", ALL_GROUPS), ("reference", EACH_OTHER)):
        more = [last] if (table[name] == last).any() else []
        table[name] = pd.Categorical(table[name], categories=[*labels, *more], ordered=True)
    return table


def _row(sides: Sides, found: Found, place: int) -> dict:
    courses = sides.courses
    return {
        "group": courses.groups.labels[place],
        "reference": sides.reference,
        "measure": found.measure,
        "estimate": found.estimate,
        "low": found.low,
        "high": found.high,
        "statistic": found.statistic,
        "p_value": found.p_value,
        "unit": "patients",
        "events": int(courses.resolved[place]),
        "n": int(courses.sizes[place]),
        "events_ref": int(courses.resolved[sides.base]),
        "n_ref": int(courses.sizes[sides.base]),
        "test": found.test,
        "limits": found.limits,
    }


def _test_row(sides: Sides, found: Found, pairs: dict) -> dict:
    """A test of two groups stands beside their contrast; one of more is of all of them."""
    row = _row(sides, found, next(iter(pairs))) | dict.fromkeys(COUNTS, pd.NA)
    return row if len(pairs) == 1 else row | {"group": ALL_GROUPS, "reference": EACH_OTHER}


def _estimator(days: bool, strata: str | None, model: Model) -> str:
    within = "" if strata is None else f", within strata of {strata.replace('_', ' ')}"
    adjusted = "" if strata is None else f", with {strata.replace('_', ' ')} as a covariate"
    hazards = (
        f"cause-specific Cox model (Efron's ties){within}"
        if days
        else f"complementary log-log model of person-sessions, a term for each session number{adjusted}"
    )
    tests = f"Gray's test{' and, free of death and surgery, the log-rank test' if days else ''}{within}"
    said = f". {model.proportional}" if model.proportional else ""
    gaps = "differences by Welch's t tests"
    return f"Aalen–Johansen incidence at one point and its area, {gaps}; {hazards}; {tests}{said}"


def _references(days: bool, table: pd.DataFrame, definition: ResolutionDefinition) -> tuple[str, ...]:
    several = (
        (HOLM,) if (table["p_value"] != table["p_unadjusted"]).where(table["p_value"].notna(), False).any() else ()
    )
    return (*(REFERENCES if days else SESSION_REFERENCES), *several, *filter(None, [definition.reference]))


def _notes(
    registry: Registry, sides: Sides, pairs: dict, model: Model, tests: tuple[Found, ...], table: pd.DataFrame
) -> tuple[Note, ...]:
    courses = sides.courses
    found = [note for both in pairs.values() for each in both for note in each.notes]
    found += [*model.notes, *(note for each in tests for note in each.notes)]
    notes = [*size_notes(courses), *found]
    if not pairs:
        text = f"No two groups have {FEWEST_FOR_A_CONTRAST} patients or more: nothing is compared."
        notes.append(Note(code="SMALL_N", text=text))
    if len(pairs) > 1:
        text = (
            f"Exploratory: {len(pairs)} groups against one reference; p-values are adjusted by Holm's method within "
            "each measure, intervals are not adjusted."
        )
        notes.append(Note(code="MULTIPLICITY", text=text))
    gaps = imbalance(gap_quartiles(scan_gaps(registry, courses.ends), courses.groups), courses.groups.labels)
    return tuple(dict.fromkeys((*notes, *gaps, *courses.notes)))
