"""How much of the record is filled in."""

from __future__ import annotations

import pandas as pd

from necrostats.measures.grouping import one_group
from necrostats.measures.summaries import share_row, summary_table
from necrostats.registry.codebook import TABLES, Column
from necrostats.registry.tables import Registry
from necrostats.results import Method, Population, Summary


def data_completeness(registry: Registry, *, by: None = None, level: float = 0.95) -> Summary:
    """For each expected column, the share of rows that hold a value, among the rows it applies to.

    Of a registry narrowed with `during`, rows of the period and whole histories of its patients: title and method
    say which is which.
    """
    rows = [
        _completeness(f"{table.name}.{column.name}", registry.tables[table.name], column)
        for table in TABLES.values()
        for column in table.columns
        if column.expected and not column.required
    ]
    return Summary(
        title=f"Completeness of the record{_narrowed_title(registry)}",
        table=summary_table(rows, one_group(0)),
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
