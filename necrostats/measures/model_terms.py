"""Covariates of a model of resolution: who is in it, the indicators of their levels, the rows of its table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.errors import ChoiceError
from necrostats.measures.grouping import Grouping, patient_groups
from necrostats.measures.resolution import CoursesAlong
from necrostats.measures.resolution_comparison import FEWEST_FOR_A_MODEL, named
from necrostats.registry.tables import Registry
from necrostats.results import Comparison, Note

FEWEST_IN_A_LEVEL = 5
COLUMNS = (*Comparison.columns, "variable", "unit", "events", "n", "events_ref", "n_ref", "test", "limits")


@dataclass(frozen=True, kw_only=True, eq=False)
class Level:
    """One indicator: the covariate, its level and reference, and who (n,) has each."""

    covariate: str
    level: str
    reference: str
    here: np.ndarray
    there: np.ndarray

    @property
    def name(self) -> str:
        """The covariate and its level in words."""
        return f"{self.covariate.replace('_', ' ')} {self.level}"


@dataclass(frozen=True, kw_only=True, eq=False)
class Terms:
    """The names of the covariates, the levels of all, who is in the model (n,), who lacks a value of some covariate (n,),
    and notes."""

    names: tuple[str, ...]
    levels: tuple[Level, ...]
    counted: np.ndarray
    unknown: np.ndarray
    notes: tuple[Note, ...]

    @property
    def enough(self) -> bool:
        """Whether a model can be fitted at all."""
        return bool(self.levels) and np.count_nonzero(self.counted) >= FEWEST_FOR_A_MODEL

    @property
    def design(self) -> np.ndarray:
        """The indicators of those who are in the model, a column a level."""
        return np.stack([each.here[self.counted] for each in self.levels], axis=1).astype(float)

    @property
    def words(self) -> str:
        """The covariates as a list."""
        return ", ".join(name.replace("_", " ") for name in self.names)

    def left_out(self, courses: CoursesAlong) -> dict[str, int]:
        """Who is not in the model, and why."""
        thin = courses.known & ~self.unknown & ~self.counted
        return {
            **courses.left_out,
            "patients without a value of every covariate": int(np.count_nonzero(self.unknown)),
            f"patients in levels of fewer than {FEWEST_IN_A_LEVEL}": int(np.count_nonzero(thin)),
        }


@dataclass(frozen=True, kw_only=True, eq=False)
class Ratios:
    """Ratios with limits, z and p-values (p,), NaN where there is no model."""

    ratio: np.ndarray
    low: np.ndarray
    high: np.ndarray
    z: np.ndarray
    p_value: np.ndarray
    notes: tuple[Note, ...] = ()

    @classmethod
    def none(cls, p: int) -> Ratios:
        """No model."""
        unknown = np.full(p, np.nan)
        return cls(ratio=unknown, low=unknown, high=unknown, z=unknown, p_value=unknown)

    @classmethod
    def of(cls, fit, terms: Terms) -> Ratios:
        """From a fit with log ratios, their limits, errors and p-values."""
        return cls(
            ratio=np.exp(fit.coefficient),
            low=np.exp(fit.low),
            high=np.exp(fit.high),
            p_value=fit.p_value,
            z=fit.coefficient / fit.std_error,
            notes=named(fit.notes, [each.name for each in terms.levels]),
        )


def terms_of(registry: Registry, covariates: Sequence[str], courses: CoursesAlong) -> Terms:
    """The terms of covariates known at the index drainage. DesignError for what is known only later, ChoiceError for a
    name that is not on its list, or none."""
    chosen = (covariates,) if isinstance(covariates, str) else tuple(dict.fromkeys(covariates))
    if not chosen:
        raise ChoiceError('covariates is empty: name at least one, such as covariates=("infection",).')
    groupings = {name: patient_groups(registry, name) for name in chosen}
    counted, thin = _counted(courses.known, groupings)
    levels = tuple(each for name, groups in groupings.items() for each in _levels(name, groups, counted))
    return Terms(
        names=chosen,
        levels=levels,
        counted=counted,
        unknown=courses.known & np.any([each.codes < 0 for each in groupings.values()], axis=0),
        notes=(*_small(counted, levels), *thin),
    )


def _counted(known: np.ndarray, groupings: Mapping[str, Grouping]) -> tuple[np.ndarray, tuple[Note, ...]]:
    """Who is in the model (n,), with a value of every covariate and in no level of fewer than 5; and what was lost."""
    counted = known & np.all([each.codes >= 0 for each in groupings.values()], axis=0)
    lost: list[str] = []
    while True:
        thin = np.zeros(known.size, dtype=bool)
        for name, groups in groupings.items():
            sizes = np.bincount(groups.codes[counted], minlength=len(groups.labels))
            few = np.flatnonzero((sizes > 0) & (sizes < FEWEST_IN_A_LEVEL))
            lost += [f"{name.replace('_', ' ')} {groups.labels[place]} ({sizes[place]})" for place in few]
            thin |= counted & np.isin(groups.codes, few)
        if not thin.any():
            break
        counted = counted & ~thin
    text = f"Levels of fewer than {FEWEST_IN_A_LEVEL} patients are not in the model: {', '.join(lost)}."
    return counted, (Note(code="SMALL_N", text=text),) if lost else ()


def _levels(name: str, groups: Grouping, counted: np.ndarray) -> list[Level]:
    filled = np.unique(groups.codes[counted])
    return [
        Level(
            covariate=name,
            level=groups.labels[place],
            reference=groups.labels[filled[0]],
            here=counted & (groups.codes == place),
            there=counted & (groups.codes == filled[0]),
        )
        for place in filled[1:]
    ]


def rows_of(courses: CoursesAlong, terms: Terms, fit: Ratios, measure: str, limits: str) -> list[dict]:
    """A row a level, for one measure."""
    resolved = courses.cause == 1
    return [
        {
            "group": each.level,
            "reference": each.reference,
            "measure": measure,
            "estimate": fit.ratio[place],
            "low": fit.low[place],
            "high": fit.high[place],
            "statistic": fit.z[place],
            "p_value": fit.p_value[place],
            "variable": each.covariate,
            "unit": "patients",
            "events": int((each.here & resolved).sum()),
            "n": int(each.here.sum()),
            "events_ref": int((each.there & resolved).sum()),
            "n_ref": int(each.there.sum()),
            "test": "Wald test",
            "limits": limits,
        }
        for place, each in enumerate(terms.levels)
    ]


def table_of(rows: Sequence[dict]) -> pd.DataFrame:
    """The rows as the table of a Comparison."""
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    for name in ("estimate", "low", "high", "statistic", "p_value"):
        table[name] = table[name].astype("float64")
    for name in ("events", "n", "events_ref", "n_ref"):
        table[name] = table[name].astype("int64")
    for name in ("group", "reference", "variable"):
        table[name] = pd.Categorical(table[name], categories=list(dict.fromkeys(table[name])), ordered=True)
    return table


def _small(counted: np.ndarray, levels: Sequence[Level]) -> tuple[Note, ...]:
    patients = int(np.count_nonzero(counted))
    notes = []
    if patients < FEWEST_FOR_A_MODEL:
        text = f"Only {patients} patients: no model is fitted to fewer than {FEWEST_FOR_A_MODEL}."
        notes.append(Note(code="SMALL_N", text=text))
    if not levels:
        text = "No covariate has two levels with enough patients: there is nothing to compare."
        notes.append(Note(code="NO_OVERLAP", text=text))
    if len(levels) > 1:
        text = f"Exploratory: {len(levels)} contrasts; neither p-values nor intervals are adjusted for their number."
        notes.append(Note(code="MULTIPLICITY", text=text))
    return tuple(notes)
