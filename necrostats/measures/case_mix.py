"""Who was treated, and what was done: the baseline table and the activity of a period.

How much of the record is filled in.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from necrostats.definitions.groups import REFERENCE, extent_of_patients
from necrostats.measures.grouping import (
    Grouping,
    label,
    one_group,
    patient_groups,
    share_row,
    summary_row,
    summary_table,
)
from necrostats.registry.codebook import COLLECTIONS, PATIENTS, SESSIONS, TABLES, Column
from necrostats.registry.tables import Registry
from necrostats.results import Method, Population, Summary
from necrostats.stats.confounding import largest_gap, mean_gap, share_gap

OF_PATIENTS = (
    "age_years",
    "sex",
    "aetiology",
    "atlanta_severity",
    "organ_failure",
    "infection",
    "asa_class",
    "comorbidity_index",
    "nutrition",
    "prior_intervention",
    "antithrombotic",
)
OF_THE_INDEX_COLLECTION = ("long_mm", "volume_ml", "solid_percent", "quadrants", "site", "encapsulated")
AS_LEVELS = ("asa_class", "quadrants")
FEWEST_FOR_A_DIFFERENCE = 5
DIFFERENCE = "; standardised difference between groups (the largest of any two), among those with a value"
DIFFERENCE_SOURCES = ("Austin, Stat Med 2009;28:3083", "Yang and Dalton, SAS Global Forum 2012, paper 335")


def case_mix(registry: Registry, *, by: str | None = None, level: float = 0.95) -> Summary:
    """The baseline table: medians with quartiles, shares with counts, and what is missing, by group.

    With groups, `difference` is how far apart they are in each variable, in units of its spread (of more than two
    groups the two that lie farthest apart); NaN where a group has fewer than 5 values or no spread. No p-values:
    whether a baseline difference could be chance is not the question.

    Counted: patients with an index drainage; of each variable those who have a value.
    Source: Baroud et al., Gastrointest Endosc 2023;97:300.
    """
    groups = patient_groups(registry, by)
    values = {_heading(PATIENTS.column(name)): registry.patients[name] for name in OF_PATIENTS}
    values |= {_heading(COLLECTIONS.column(name)): _of_index(registry, name) for name in OF_THE_INDEX_COLLECTION}
    values |= {name: _as_levels(each) for name, each in values.items() if name.replace(" ", "_") in AS_LEVELS}
    values["extent class"] = extent_of_patients(registry)
    rows = [row for variable, series in values.items() for row in _describe(variable, series, groups)]
    frame, grouped = summary_table(rows, groups), len(groups.labels) > 1
    if grouped:
        frame["difference"] = frame["variable"].map(
            {name: _standardised_difference(each, groups) for name, each in values.items()}
        )
    return Summary(
        title="Case mix at the index drainage",
        frame=frame,
        population=Population(patients=len(registry.patients), left_out={"patients without a group": groups.left_out}),
        method=Method(
            estimand="the patients treated, as they were at the index drainage",
            estimator="median and quartiles, or count and share of those with a value"
            + (DIFFERENCE if grouped else ""),
            interval="none: a description, not an inference",
            level=level,
            definition="size, site and extent are those of the index collection",
            references=(REFERENCE, *(DIFFERENCE_SOURCES if grouped else ())),
        ),
    )


def activity(registry: Registry, *, by: None = None, level: float = 0.95) -> Summary:
    """What was done: sessions by type.

    Counted: sessions held, and the patients treated in them.
    Source: a count or description, common practice.
    """
    rows = list(_describe("session type", registry.sessions["session_type"], one_group(len(registry.sessions))))
    return Summary(
        title="Activity",
        frame=summary_table(rows, one_group(0)),
        population=Population(patients=len(registry.patients), sessions=len(registry.sessions)),
        method=Method(
            estimand="the sessions held",
            estimator="count and share",
            interval="none",
            level=level,
            definition=SESSIONS.row,
        ),
    )


HEADINGS = {"long_mm": "longest axis, mm", "volume_ml": "volume, ml", "solid_percent": "solid contents, %"}


def _heading(column) -> str:
    if column.name in HEADINGS:
        return HEADINGS[column.name]
    words = column.name.replace("_", " ")
    unit = {"years": " years", "mm": " mm", "ml": " ml", "%": " percent"}.get(column.unit, "")
    return f"{words.removesuffix(unit)}, {column.unit}" if unit else words


def _of_index(registry: Registry, name: str) -> pd.Series:
    """A column of each patient's index collection, in the order of patients; blank where there is none."""
    index = registry.collections["is_index"].fillna(False).to_numpy(dtype=bool)
    kept = registry.collections.loc[index, name]
    place = pd.Series(kept.to_numpy(), index=registry.position("collections")[index], dtype=kept.dtype)
    return place[~place.index.duplicated()].reindex(range(len(registry.patients))).reset_index(drop=True)


def _as_levels(values: pd.Series) -> pd.Series:
    """A whole number as levels in order, so that every group has every level seen in any."""
    return values.astype(pd.CategoricalDtype(sorted(values.dropna().unique()), ordered=True))


def _describe(variable: str, values: pd.Series, groups: Grouping):
    as_levels = not pd.api.types.is_numeric_dtype(values) or pd.api.types.is_bool_dtype(values)
    for group in range(len(groups.labels)):
        here = values[groups.codes == group]
        yield from _shares(variable, here, group) if as_levels else [_median(variable, here, group)]


def _standardised_difference(values: pd.Series, groups: Grouping) -> float:
    known = [values[groups.codes == group].dropna() for group in range(len(groups.labels))]
    kept = [each for each in known if len(each) >= FEWEST_FOR_A_DIFFERENCE]
    if pd.api.types.is_numeric_dtype(values) and not pd.api.types.is_bool_dtype(values):
        return largest_gap([each.to_numpy(dtype=float) for each in kept], mean_gap)
    levels = pd.unique(values.dropna())
    return largest_gap([each.value_counts().reindex(levels, fill_value=0).to_numpy(float) for each in kept], share_gap)


def _shares(variable: str, values: pd.Series, group: int):
    counted = values.value_counts(dropna=True, sort=False)
    levels = values.cat.categories if isinstance(values.dtype, pd.CategoricalDtype) else sorted(counted.index)
    known = int(values.notna().sum())
    for level in levels:
        events = int(counted.get(level, 0))
        yield share_row(variable, group, level=label(level), events=events, n=known, missing=len(values) - known)


def _median(variable: str, values: pd.Series, group: int) -> dict:
    known = values.dropna().to_numpy(dtype=float)
    low, middle, high = np.quantile(known, [0.25, 0.5, 0.75]) if known.size else (np.nan,) * 3
    return summary_row(
        variable, group, "median", n=known.size, missing=len(values) - known.size, estimate=middle, low=low, high=high
    )


def data_completeness(registry: Registry, *, by: None = None, level: float = 0.95) -> Summary:
    """For each expected column, the share of rows that hold a value, among the rows it applies to.

    Of a registry narrowed with `during`, rows of the period and whole histories of its patients: title and method
    say which is which.

    Counted: rows of each table to which the column applies.
    Source: a count or description, common practice.
    """
    rows = [
        _completeness(f"{table.name}.{column.name}", registry.tables[table.name], column)
        for table in TABLES.values()
        for column in table.columns
        if column.expected and not column.required
    ]
    return Summary(
        title=f"Completeness of the record{_narrowed_title(registry)}",
        frame=summary_table(rows, one_group(0)),
        population=Population(
            patients=len(registry.patients), collections=len(registry.collections), sessions=len(registry.sessions)
        ),
        method=Method(
            estimand="share of rows with a value, column by column",
            estimator="filled rows over rows the column applies to",
            interval="none: a count, not an inference",
            level=level,
            definition="blank or marked as not recorded is missing; columns that may rightly be blank are not listed"
            f"{_narrowed_definition(registry)}",
        ),
    )


def _narrowed_title(registry: Registry) -> str:
    if not registry.narrowed_to:
        return ""
    return f": sessions and events of {registry.narrowed_to}, and all other records of the patients treated then"


def _narrowed_definition(registry: Registry) -> str:
    """Which tables are of the period: a day from the index drainage cannot be placed in a quarter."""
    if not registry.narrowed_to:
        return ""
    return (
        f". Sessions, their instruments and adverse events are those of {registry.narrowed_to}; patients, collections, "
        "stents, scans, reviews and other interventions are whole histories of the patients treated then, since a day "
        "counted from the index drainage does not say in which quarter it fell"
    )


def _completeness(variable: str, frame: pd.DataFrame, column: Column) -> dict:
    condition, codes = column.applies
    rows = frame[frame[condition].isin(codes)] if condition else frame
    filled = int(rows[column.name].notna().sum())
    return share_row(variable, 0, events=filled, n=len(rows), missing=len(rows) - filled)
