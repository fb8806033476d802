"""Case series for tests: the invented registry whole or its first patients, and what a bound number says it is."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np

from necrostats import bundled
from necrostats.measures import CaseSeries, case_series
from necrostats.present.bound import BoundNumber, rows_of
from necrostats.registry.loading import read_registry
from necrostats.registry.tables import Registry


@cache
def invented() -> Registry:
    """The invented registry."""
    return read_registry(bundled.synthetic_registry() / "tidy")


def first_patients(count: int, *, start: int = 10) -> Registry:
    """So many patients of the invented registry."""
    kept = np.zeros(len(invented().patients), dtype=bool)
    kept[start : start + count] = True
    return invented().select(kept)


def without(table: str) -> Registry:
    """The invented registry of a unit that does not keep a table."""
    return replace(invented(), **{table: invented().tables[table].iloc[:0]})


@cache
def series(by: str = "", patients: int = 0) -> CaseSeries:
    """The case series of the invented registry, or of its first patients."""
    return case_series(first_patients(patients) if patients else invented(), by=by)


def value_of(made: CaseSeries, number: BoundNumber) -> float | None:
    """The value that a bound number names, looked up afresh; None where it is part of a name or a definition."""
    if number.measure == "definition":
        named = {"horizon_days": made.definition.horizon_days, "level": made.level}
        return named.get(number.column)
    name, _, medians = number.measure.partition(".")
    result = made.results[name]
    if number.column in ("label", "title"):
        return None
    if number.column == "landmark":
        return float(number.value) if _named(made, number.value) else math.nan
    if number.column == "method.level":
        return result.method.level
    if number.column.startswith("population."):
        held = getattr(result.population, number.column.removeprefix("population."))
        return held[dict(number.row)["left out"]] if number.column.endswith("left_out") else held
    if number.column == "at_risk":
        group = dict(number.row).get("group", "all")
        return result.frame.loc[result.frame["group"] == group, "at_risk"].max()
    rows = rows_of(number.measure, result, result.medians if medians else None)
    (row,) = [each for each in rows if each.key == number.row]
    return float(row.cells[number.column])


def _named(made: CaseSeries, value: float) -> bool:
    return value in (made.day, made.session, made.definition.horizon_days, 90)
