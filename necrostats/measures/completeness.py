"""How much of the record is filled in."""

from __future__ import annotations

import pandas as pd

from necrostats.measures.grouping import one_group
from necrostats.measures.summaries import share_row, summary_table
from necrostats.registry.codebook import TABLES, Column
from necrostats.registry.tables import Registry
from necrostats.results import Method, Population, Summary


def data_completeness(registry: Registry, *, by: None = None, level: float = 0.95) -> Summary:
    """For each expected column, the share of rows that hold a value, among the rows it applies to."""
    rows = [
        _completeness(f"{table.name}.{column.name}", registry.tables[table.name], column)
        for table in TABLES.values()
        for column in table.columns
        if column.expected and not column.required
    ]
    return Summary(
        title="Completeness of the record",
        table=summary_table(rows, one_group(0)),
        population=Population(
            patients=len(registry.patients), collections=len(registry.collections), sessions=len(registry.sessions)
        ),
        method=Method(
            estimand="share of rows with a value, column by column",
            estimator="filled rows over rows the column applies to",
            interval="none: a count, not an inference",
            level=level,
            definition="blank or marked as not recorded is missing; columns that may rightly be blank are not listed",
        ),
    )


def _completeness(variable: str, frame: pd.DataFrame, column: Column) -> dict:
    condition, codes = column.applies
    rows = frame[frame[condition].isin(codes)] if condition else frame
    filled = int(rows[column.name].notna().sum())
    return share_row(variable, 0, events=filled, n=len(rows), missing=len(rows) - filled)
